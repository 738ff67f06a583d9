"""The ``callout`` command: finds the subcommand, runs it, and turns errors into one clear line."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import os
import signal
import sys
import threading
from collections.abc import Sequence
from types import FrameType
from typing import NoReturn, TextIO

from callout import __version__
from callout.cli.crashes import CODE, crash_told
from callout.cli.shown import guarded
from callout.core.errors import CalloutError, StorageError

# In the order of the help. The module of this name (with an underscore where Python needs the word)
# offers add_parser(subparsers), which names its handler; it is imported for its own command alone.
ROOMS = {
    "field": {
        "listen": "measure: hear, echo, check, save",
        "daemon": "work without a terminal; 'listen' attaches to it, from any number of them",
        "devices": "find a digital tape, see its lines, write it down",
        "parse": "say what words mean, as JSON",
        "transcribe": "recognise sound files, one JSON line each",
        "demo": "play a recorded walk through the recogniser",
        "remeasure": "draw trees for a second, blind walk; report how the two differ",
        "practice": "walk an invented plot, and be scored",
        "tune": "learn a measurer's voice from twenty prompts",
    },
    "desk": {
        "new": "make a survey folder from a roster",
        "readings": "print the current value of every tree",
        "rule": "rule on a reading: it stands, is amended, or void; the original stays",
        "review": "make one page to see, hear and rule on the readings in a browser",
        "report": "write pages, figures and tables of a survey",
        "export": "write the measurements in an open form",
        "import": "read another's table of trees",
        "merge": "unite the journals of several recorders into one site",
        "push": "send a survey's journal to the office's PostgreSQL database",
        "key": "name the key that signs a survey's seals; make one where there is none",
        "erase": "remove a person's sound, or old sound, by an order in the journal; readings stay",
    },
    "disputes": {
        "verify": "prove that nothing was altered, or name the first broken entry",
        "rebuild": "make the tables anew from the journal, into a new folder",
        "replay": "list what was said of a tree, play it, hear it again with any engine",
    },
}
COMMANDS = {name: does for commands in ROOMS.values() for name, does in commands.items()}
INTERRUPTED = 130


def build_parser(command: str) -> argparse.ArgumentParser:
    """The command line for ``command``; for a name that is none, with the list of all."""
    parser = argparse.ArgumentParser(
        prog="callout",
        description="The second person for somebody re-measuring tagged trees: "
        "hears tag and diameter, echoes, checks, and saves what was confirmed.",
    )
    parser.add_argument("--version", action="version", version=f"callout {__version__}")
    subparsers = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    if command in COMMANDS:
        room = next(room for room, commands in ROOMS.items() if command in commands)
        importlib.import_module(f"callout.cli.{room}.{command}_command").add_parser(subparsers)
    else:
        for name, does in COMMANDS.items():
            subparsers.add_parser(name, help=does)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    # A letter that this terminal cannot show, or bytes that are no text, must not end the day.
    _forgive(sys.stdout, "backslashreplace")
    _forgive(sys.stdin, "replace")
    with guarded():
        return _main(arguments)


def _forgive(stream: TextIO | None, errors: str) -> None:
    """What this stream cannot encode or decode is replaced, not raised."""
    if isinstance(stream, io.TextIOWrapper) and stream.errors != errors:
        # Whoever calls us in its own process may have read from it already; then it stays.
        with contextlib.suppress(io.UnsupportedOperation):
            stream.reconfigure(errors=errors)


def _main(arguments: Sequence[str] | None) -> int:
    given = sys.argv[1:] if arguments is None else arguments
    # Options before the command take no value: the first other word is the command.
    command = next((word for word in given if not word.startswith("-")), "")
    args = build_parser(command).parse_args(given)
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _interrupt)
    try:
        code = int(args.run(args))
        sys.stdout.flush()
        return code
    except CalloutError as error:
        print(f"callout: {_told(error)}", file=sys.stderr)
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
    except Exception as error:
        print(f"callout: {crash_told(error, str(args.command))}", file=sys.stderr)
        return CODE


def _told(error: CalloutError) -> str:
    if error.saying.key == "as-is":
        return str(error)
    from callout.wording.language_files import english  # costs more than a short command

    return english().part(error.saying)


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
