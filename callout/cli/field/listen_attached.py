"""``callout listen`` where the survey's daemon runs: a screen or JSON lines of it, nothing else.

Leaving leaves the daemon at work.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import queue
import sys
import time
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from callout.cli.crashes import defects_of_threads, told_at_the_end
from callout.cli.working import login
from callout.core.errors import OperatorError
from callout.daemon.socket_place import socket_path
from callout.station.face import Update, View

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
    if args.headless:
        return _headless(path, args, typed)

    from callout.cli.field.listen_screen import screen_of
    from callout.terminal.screen_running import shown_whole

    face = RemoteFace(path)
    try:
        _follow(face, args.plot, args.who or "", login())
        if args.mute:
            face.mute(True)
        with defects_of_threads(face.broken) as defects:
            shown_whole(screen_of(args.survey, face))
    finally:
        face.close()
    return told_at_the_end(defects)


def _headless(path: Path, args: argparse.Namespace, typed: Iterable[str] | None) -> int:
    from callout.daemon.remote import RemoteFace

    face, views = RemoteFace(path), queue.Queue[View]()
    last: list[View] = []

    def show(update: Update) -> None:
        if isinstance(update, View):
            if update not in last:
                line = {"event": "view", **asdict(update)}
                sys.stdout.write(json.dumps(line, ensure_ascii=False) + "\n")
                sys.stdout.flush()
            last[:] = [update]
            views.put(update)

    try:
        _follow(face, args.plot, args.who or "", login())
        if args.mute:
            face.mute(True)
        face.listen(show)
        for line in typed or ():
            before = face.view()
            face.submit(line, before.waiting)
            _await(views, _told(before))  # its answer: what follows may say yes to it
        while typed is None and views.get().phase != "closed":
            pass
    finally:
        face.close()
    print(json.dumps({"event": "detached"}))
    return 0


def _told(view: View) -> tuple[object, ...]:
    """What an answer changes; a fault that comes meanwhile is none."""
    return view.heard, view.said, view.answer, view.waiting, view.recent


def _await(views: queue.Queue[View], before: tuple[object, ...]) -> None:
    until = time.monotonic() + _ANSWER_S
    with contextlib.suppress(queue.Empty):
        while _told(views.get(timeout=max(0.0, until - time.monotonic()))) == before:
            pass


def _follow(face: RemoteFace, plot: str | None, who: str, login: str) -> None:
    """Tell the daemon of another plot or person, if one is asked for."""
    view = face.view()
    if (plot and plot != view.plot) or (who and who != view.who):
        face.open(plot or view.plot, who or view.who or login)
