"""``callout replay --screen``: moments to look at and to hear, on the terminal."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.lookback.replay import Moment
from callout.lookback.viewing import Viewer


def look(args: argparse.Namespace, folder: SurveyFolder, found: Sequence[Moment]) -> int:
    """Show the screen until the person leaves."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise OperatorError("the screen needs a terminal: run it in one, or leave --screen out")
    from callout.terminal.replay_app import ReplayApp
    from callout.terminal.screen_running import shown_whole

    viewer = Viewer(folder, found, args.engine or "auto", args.model, args.grammar)
    try:
        shown_whole(ReplayApp(viewer, folder.config().name or folder.path.name))
    finally:
        viewer.close()
    return 0
