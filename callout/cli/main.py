"""The ``callout`` command: finds the subcommand, runs it, and turns errors into one clear line."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import keyword
import os
import signal
import sys
import threading
from collections.abc import Sequence
from types import FrameType
from typing import NoReturn

from callout import __version__
from callout.cli.shown import guarded
from callout.core.errors import CalloutError, StorageError

# Each module offers add_parser(subparsers), naming the module's ``run`` as its handler.
COMMANDS = (
    "new", "listen", "daemon", "devices", "parse", "readings", "transcribe", "demo", "verify",
    "rebuild", "replay", "rule", "review", "remeasure", "practice", "tune", "report",
    "export", "import", "merge",
    "push", "key", "erase",
)  # fmt: skip
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
        # A module cannot be called import.
        module = f"{name}_" if keyword.iskeyword(name) else name
        importlib.import_module(f"callout.cli.{module}").add_parser(subparsers)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    # A letter that this terminal cannot show, or bytes that are no text, must not end the day.
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    with guarded():
        return _main(arguments)


def _main(arguments: Sequence[str] | None) -> int:
    args = build_parser().parse_args(arguments)
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _interrupt)
    try:
        code = int(args.run(args))
        sys.stdout.flush()
        return code
    except CalloutError as error:
        print(f"callout: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; leave quietly, as other commands do.
        _drop_output()
        return 0
    except OSError as error:
        # Where no better words were found: a name too long, a folder closed to us, output full.
        where = f"{error.filename}: " if error.filename else ""
        print(f"callout: {where}{error.strerror or error}: check and try again", file=sys.stderr)
        _drop_output()
        return StorageError.exit_code


def _interrupt(number: int, frame: FrameType | None) -> NoReturn:
    """Asked to end: leave as on Ctrl+C, giving up journal and devices in order."""
    raise KeyboardInterrupt


def _drop_output() -> None:
    """What is still unwritten goes nowhere, so that leaving cannot fail on it again."""
    with contextlib.suppress(OSError):  # an output that is no file has nothing to drop
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main())
