"""The ``callout`` command: finds the subcommand, runs it, and turns errors into one clear line."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from callout import __version__
from callout.core.errors import CalloutError

# Each module offers add_parser(subparsers), naming the module's ``run`` as its handler.
COMMANDS = ("new", "listen", "parse", "readings", "transcribe", "demo")
INTERRUPTED = 130


def build_parser() -> argparse.ArgumentParser:
    """The whole command line."""
    parser = argparse.ArgumentParser(
        prog="callout",
        description="The second person for somebody re-measuring tagged trees: "
        "hears tag and diameter, echoes, checks, and saves what was confirmed.",
    )
    parser.add_argument("--version", action="version", version=f"callout {__version__}")
    subparsers = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name in COMMANDS:
        importlib.import_module(f"callout.cli.{name}").add_parser(subparsers)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    args = build_parser().parse_args(arguments)
    try:
        return int(args.run(args))
    except CalloutError as error:
        print(f"callout: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; leave quietly, as other commands do.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main())
