"""``callout replay --screen``: moments to look at and to hear, on the terminal."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from callout.cli.disputes.replay_command import Part
from callout.core.errors import OperatorError
from callout.lookback.several import SeveralViewers
from callout.lookback.viewing import Viewer
from callout.wording.language_files import load_wording


def look(args: argparse.Namespace, parts: Sequence[Part]) -> int:
    """Show the screen until the person leaves."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise OperatorError("the screen needs a terminal: run it in one, or leave --screen out")
    from callout.terminal.replay_app import ReplayApp
    from callout.terminal.screen_running import shown_whole

    engine = args.engine or "auto"
    viewers = [Viewer(one.folder, one.found, engine, args.model, args.grammar) for one in parts]
    try:
        title = "; ".join(one.title for one in parts)
        wording = load_wording(parts[0].folder.config().language)
        shown_whole(ReplayApp(SeveralViewers(viewers), title, wording))
    finally:
        for viewer in viewers:
            viewer.close()
    return 0
