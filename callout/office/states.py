"""The states of a site's surveys: sealed up to where, verified, sound removed by whose order.

Verifying is long, so that it is done by ``callout verify`` in a process of its own.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from callout.core.counted import counted
from callout.core.errors import CalloutError, OperatorError
from callout.crews.recorder import recorder_of
from callout.crews.site import Site, is_site, site_folders
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.reader import JournalReader
from callout.journal.removals import KIND as REMOVED
from callout.journal.removals import ordered
from callout.office.cards import cards
from callout.proof.seals import KIND as SEALED

_LONGEST_S = 3600
_AGAIN_S = 2.0
_RUNNING = "being verified"
_SINCE = "not verified yet: begun since the others were"


@dataclass(frozen=True)
class Journal:
    """A journal as its card shows it."""

    name: str
    lines: Sequence[str]
    verified: str
    broken: bool


class States:
    """Asks for verification once when made, and again when told to."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._told: str | None = None
        self._untold = _SINCE
        self._thread: threading.Thread | None = None
        self.verify()

    def verify(self) -> None:
        """Begin to verify, unless that is being done."""
        if self._thread is None or not self._thread.is_alive():
            self._told = None
            self._thread = threading.Thread(target=self._verify, name="verify", daemon=True)
            self._thread.start()

    def _verify(self) -> None:
        told, code = _verified(self._path)
        if code == OperatorError.exit_code:  # such as a journal that was being begun just then
            time.sleep(_AGAIN_S)
            told, code = _verified(self._path)
        self._untold = _SINCE if code in (0, 1) else told
        self._told = told

    @property
    def running(self) -> bool:
        """Whether it is still being verified."""
        return self._told is None

    @property
    def told(self) -> str:
        """In a word or two: how it stands with all of them."""
        if self.running:
            return "…"
        broken = sum(journal.broken for journal in self.journals())
        return f"{broken} BROKEN" if broken else "intact"

    def html(self) -> str:
        """A card for each journal, broken ones first."""
        broken_first = sorted(self.journals(), key=lambda journal: not journal.broken)
        return cards("states", broken_first)

    def journals(self) -> list[Journal]:
        """How it stands with each."""
        site = is_site(self._path)
        folders = site_folders(Site(self._path)) if site else [open_survey(self._path)]
        told = self._told
        names = [folder.path.name for folder in folders]
        if told is None:
            verified = dict.fromkeys(names, _RUNNING)
        elif site:
            verified = dict.fromkeys(names, self._untold) | _by_folder(told, names)
        else:
            verified = {names[0]: told}
        return [_journal(folder, verified[folder.path.name]) for folder in folders]


def _verified(path: Path) -> tuple[str, int]:
    command = [sys.executable, "-P", "-m", "callout", "verify", str(path)]
    try:
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=_LONGEST_S,
            stdin=subprocess.DEVNULL,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return f"could not be verified: {error}", -1
    return (done.stdout + done.stderr).strip(), done.returncode


def _by_folder(told: str, names: Sequence[str]) -> dict[str, str]:
    """What was told of each folder of a site: from the line that begins with its name on."""
    found: dict[str, list[str]] = {}
    lines: list[str] = []
    for line in told.splitlines():
        name, colon, rest = line.partition(": ")
        if colon and name in names and name not in found:
            lines = found[name] = []
            line = rest
        lines.append(line)
    return {name: "\n".join(lines) for name, lines in found.items()}


def _journal(folder: SurveyFolder, verified: str) -> Journal:
    broken = not verified.startswith(("intact", _RUNNING, _SINCE))
    try:
        with folder.reading() as reader:
            name, lines = _name(folder, reader), _lines(reader)
    except CalloutError as error:
        name, lines, broken = folder.path.name, [str(error)], True
    return Journal(name, lines, verified, broken)


def _name(folder: SurveyFolder, reader: JournalReader) -> str:
    recorder = recorder_of(reader.entries())
    if recorder is None:
        return folder.path.name
    who = "The office's rulings" if recorder.office else recorder.who
    return f"{who}, from {recorder.at[:10]}, recorder {recorder.short}"


def _lines(reader: JournalReader) -> list[str]:
    seal, last = reader.latest(SEALED), reader.last or 0
    told = [counted(last, "entry", "entries")]
    if seal is None:
        told.append("never sealed")
    else:
        after = last - seal.seq
        rest = f"; {counted(after, 'entry', 'entries')} after it" if after else ""
        told.append(f"sealed up to entry {seal.seq}, {seal.at[:16].replace('T', ' ')}{rest}")
    for order in reader.of_kind(REMOVED):
        told.append(
            f"erased: {counted(len(list(ordered(order))), 'sound')} by order of "
            f"{order.content.get('who', '')}, entry {order.seq}, {order.at[:10]}: "
            f"{order.content.get('reason', '')}"
        )
    return told
