"""``callout listen`` where the survey's daemon runs: a screen or JSON lines of it, nothing else.

Leaving leaves the daemon at work.
"""

from __future__ import annotations

import argparse
import json
import queue
import sys
from collections.abc import Iterable
from concurrent.futures import wait
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from callout.cli.crashes import defects_of_threads, told_at_the_end
from callout.cli.working import login
from callout.core.errors import DeviceError, OperatorError
from callout.daemon.socket_place import socket_path
from callout.session.phase import Phase
from callout.station.face import Update, View
from callout.survey.settings_file import language_of
from callout.wording.language_files import load_wording

if TYPE_CHECKING:
    from callout.daemon.remote import RemoteFace

_ITS_OWN = ("engine", "model")
_ANSWER_S = 5.0


def attach(args: argparse.Namespace, typed: Iterable[str] | None = None) -> int | None:
    """Show the daemon's screen until the person leaves; None where no daemon runs.

    With ``--headless`` each view is a JSON line, and what is ``typed`` is sent, a line at a time.
    """
    path = socket_path(args.survey)
    if not path.exists():
        return None
    from callout.daemon.remote import RemoteFace, connected

    connection = connected(path)
    if connection is None:
        return None
    connection.close()
    for name in _ITS_OWN:
        if getattr(args, name) is not None:
            raise OperatorError(f"a daemon is at work: --{name} is given to 'callout daemon'")
    face = RemoteFace(path, _slow, load_wording(language_of(args.survey)))
    defects: list[str] = []
    try:
        _follow(face, args.plot, args.who or "", login())
        if args.mute:
            face.mute(True)
        if args.headless:
            _headless(face, typed)
        else:
            defects = _on_the_screen(face, args.survey)
    finally:
        face.close()
    if args.headless:
        print(json.dumps({"event": "detached"}))
    return told_at_the_end(defects)


def _on_the_screen(face: RemoteFace, survey: Path) -> list[str]:
    """Until the person leaves; the defects of threads meanwhile."""
    from callout.cli.field.listen_screen import screen_of
    from callout.terminal.screen_running import shown_whole

    with defects_of_threads(face.broken) as defects:
        shown_whole(screen_of(survey, face))
    return defects


def _headless(face: RemoteFace, typed: Iterable[str] | None) -> None:
    views = queue.Queue[View]()
    last: list[View] = []

    def show(update: Update) -> None:
        if isinstance(update, View):
            if update not in last:
                line = {"event": "view", **asdict(update)}
                sys.stdout.write(json.dumps(line, ensure_ascii=False) + "\n")
                sys.stdout.flush()
            last[:] = [update]
            views.put(update)

    face.listen(show)
    for line in typed or ():
        _type(face, line)  # and have its answer: what follows may say yes to it
    while typed is None and views.get().phase is not Phase.CLOSED:
        pass


def _type(face: RemoteFace, line: str) -> None:
    """Type a line and wait for its answer, however long; that it takes long is told.

    Raises DeviceError if the daemon is gone first: then nobody knows what became of the line.
    """
    answer = face.answered(line, face.view().waiting)
    while not wait([answer], _ANSWER_S).done:
        print(json.dumps({"event": "unanswered", "typed": line}, ensure_ascii=False), flush=True)
    if not answer.result():
        raise DeviceError(
            f"the daemon ended before it answered {line[:80]!r}; nothing after it was typed: look "
            "at what was saved ('callout readings'), then type the rest"
        )


def _slow() -> None:
    print(
        "callout: the daemon is there and does not answer yet: waiting for it (Ctrl+C leaves)",
        file=sys.stderr,
        flush=True,
    )


def _follow(face: RemoteFace, plot: str | None, who: str, login: str) -> None:
    """Tell the daemon of another plot or person, if one is asked for."""
    view = face.view()
    if (plot and plot != view.plot) or (who and who != view.who):
        face.open(plot or view.plot, who or view.who or login)
