"""The states of a site's surveys: sealed up to where, verified, sound removed by whose order.

Verifying is long, so that it is done by ``callout verify`` in a process of its own.
"""

from __future__ import annotations

import subprocess
import sys
import threading
from html import escape
from pathlib import Path

from callout.core.counted import counted
from callout.crews.recorder import recorder_of
from callout.crews.site import Site, is_site, site_folders
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.removals import KIND as REMOVED
from callout.journal.removals import ordered
from callout.proof.seals import KIND as SEALED

RUNNING = "being verified"
_LONGEST_S = 3600


class States:
    """Asks for verification once when made, and again when told to."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._verified = RUNNING
        self._thread: threading.Thread | None = None
        self.verify()

    def verify(self) -> None:
        """Begin to verify, unless that is being done."""
        if self._thread is None or not self._thread.is_alive():
            self._verified = RUNNING
            self._thread = threading.Thread(target=self._verify, name="verify", daemon=True)
            self._thread.start()

    def _verify(self) -> None:
        command = [sys.executable, "-P", "-m", "callout", "verify", str(self._path)]
        try:
            done = subprocess.run(
                command, capture_output=True, text=True, errors="replace", timeout=_LONGEST_S,
                stdin=subprocess.DEVNULL, check=False,
            )  # fmt: skip
            self._verified = (done.stdout + done.stderr).strip()
        except (OSError, subprocess.TimeoutExpired) as error:
            self._verified = f"could not be verified: {error}"

    @property
    def running(self) -> bool:
        """Whether it is still being verified."""
        return self._verified == RUNNING

    def html(self) -> str:
        """A card for each journal, and what verifying told."""
        folders = (
            site_folders(Site(self._path)) if is_site(self._path) else [open_survey(self._path)]
        )
        broken = "BROKEN" in self._verified
        told = escape(self._verified)
        return (
            f'<li class="card state{" broken" if broken else ""}" tabindex="-1">'
            f"<h3>Verified</h3><pre>{told}</pre></li>" + "".join(map(_card, folders))
        )


def _card(folder: SurveyFolder) -> str:
    with folder.reading() as reader:
        recorder = recorder_of(reader.entries())
        seal, last = reader.latest(SEALED), reader.last or 0
        orders = reader.of_kind(REMOVED)
    name = recorder.told if recorder else folder.path.name
    told = ["never sealed"]
    if seal is not None:
        after = last - seal.seq
        rest = f"; {counted(after, 'entry', 'entries')} after it" if after else ""
        told = [f"sealed up to entry {seal.seq}, {seal.at[:16].replace('T', ' ')}{rest}"]
    for order in orders:
        content = order.content
        told.append(
            f"erased: {counted(len(list(ordered(order))), 'sound')} by order of "
            f"{content.get('who', '')}, entry {order.seq}, {order.at[:10]}: "
            f"{content.get('reason', '')}"
        )
    lines = "".join(f"<p>{escape(line)}</p>" for line in told)
    return (
        f'<li class="card state" tabindex="-1"><h3>{escape(name)}</h3>'
        f"<p>{counted(last, 'entry', 'entries')}</p>{lines}</li>"
    )
