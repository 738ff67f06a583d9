"""``callout listen`` while the survey's daemon runs: a screen for it, and nothing else.

Leaving the screen leaves the daemon at work.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from callout.cli.crashes import defects_of_threads, told_at_the_end
from callout.cli.working import login
from callout.core.errors import OperatorError
from callout.daemon.socket_place import socket_path

if TYPE_CHECKING:
    from callout.daemon.remote import RemoteFace

_ITS_OWN = ("engine", "model")


def attach(args: argparse.Namespace) -> int | None:
    """Show the daemon's screen until the person leaves; None if no daemon runs."""
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


def _follow(face: RemoteFace, plot: str | None, who: str, login: str) -> None:
    """Tell the daemon of another plot or person, if one is asked for."""
    view = face.view()
    if (plot and plot != view.plot) or (who and who != view.who):
        face.open(plot or view.plot, who or view.who or login)
