"""``callout listen``: the working day, with the terminal screen or headless.

If the survey's daemon runs, the screen attaches to it; otherwise the command works by itself. Only
the options are here: each way loads what it needs.
"""

from __future__ import annotations

import argparse
import sys
from typing import Any

from callout.cli.working import add_working_options, check_options
from callout.core.errors import OperatorError


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("listen")
    add_working_options(parser)
    parser.add_argument("--headless", action="store_true", help="no screen; JSON lines on stdout")
    parser.add_argument(
        "--typed",
        action="store_true",
        help="with --headless: callouts from standard input, one a line; no microphone, "
        "and no recogniser unless --engine names one",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Work until the sound ends or the person stops."""
    check_options(args)
    if args.typed and (args.audio or not args.headless):
        raise OperatorError("--typed goes with --headless and without --audio")
    if args.headless:
        from callout.cli.field.listen_headless import run_headless

        return run_headless(args)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise OperatorError("the screen needs a terminal: run it in one, or give --headless")
    from callout.cli.field.listen_screen import run_screen

    return run_screen(args)
