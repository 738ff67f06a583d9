"""What commands that work at a survey share: their options, and who works.

Loads little: the screen must be shown before all else is loaded.
"""

from __future__ import annotations

import argparse
import getpass
from pathlib import Path

from callout.core.errors import OperatorError


def add_working_options(parser: argparse.ArgumentParser) -> None:
    """Options of all that hears and saves; ``check_options`` and ``work_of`` read them."""
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--plot", help="the plot to work in (default: the first unfinished)")
    parser.add_argument("--who", default=None, help="who measures (default: the login name)")
    parser.add_argument("--audio", type=Path, metavar="FILE", help="sound file for a microphone")
    parser.add_argument(
        "--played",
        type=Path,
        metavar="FILE",
        help="with --audio: what the loudspeaker played meanwhile, begun together",
    )
    parser.add_argument("--realtime", action="store_true", help="take the file at its own speed")
    names = "auto, closed, pocketsphinx or vosk"
    parser.add_argument("--engine", default=None, help=names)
    parser.add_argument("--model", default=None, help="folder of a Vosk model")
    parser.add_argument("--mute", action="store_true", help="do not speak the echo")


def check_options(args: argparse.Namespace) -> None:
    """Raises OperatorError for options that exclude each other."""
    if args.realtime and not args.audio:
        raise OperatorError("--realtime goes with --audio FILE")
    if args.played and (args.realtime or not args.audio):
        raise OperatorError("--played goes with --audio FILE and without --realtime")


def login() -> str:
    """The login name, as the default for who measures; '' if there is none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
