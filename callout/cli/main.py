"""The ``callout`` command: finds the subcommand, runs it, and turns errors into one clear line."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
import threading
from collections.abc import Sequence
from types import FrameType
from typing import NoReturn, TextIO

from callout.cli.commands import FIRST, build_parser
from callout.cli.crashes import CODE, crash_told
from callout.cli.shown import guarded
from callout.core.errors import CalloutError, OperatorError, StorageError

INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    # A letter that this terminal cannot show, or undecodable bytes, must not end the day.
    _forgive(sys.stdout, "backslashreplace")
    _forgive(sys.stdin, "replace")
    with guarded():
        return _main(arguments)


def _forgive(stream: TextIO | None, errors: str) -> None:
    """Replace what this stream cannot encode or decode instead of raising."""
    if isinstance(stream, io.TextIOWrapper) and stream.errors != errors:
        # A caller in the same process may have read from it already; then it stays.
        with contextlib.suppress(io.UnsupportedOperation):
            stream.reconfigure(errors=errors)


def _main(arguments: Sequence[str] | None) -> int:
    given = sys.argv[1:] if arguments is None else arguments
    if not given:
        print(FIRST, end="")
        return 0
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
        # The reader of our output is gone; exit quietly, as other commands do.
        _drop_output()
        return 0
    except OSError as error:
        # Without a better message: a name too long, a folder without permission, output full.
        where = f"{error.filename}: " if error.filename else ""
        print(f"callout: {where}{error.strerror or error}: check and try again", file=sys.stderr)
        _drop_output()
        return StorageError.exit_code
    except Exception as error:
        if isinstance(error, ModuleNotFoundError) and (extra := _extra_of(error.name)):
            print(f"callout: {args.command} needs more: pip install '{extra}'", file=sys.stderr)
            return OperatorError.exit_code
        print(f"callout: {crash_told(error, str(args.command))}", file=sys.stderr)
        return CODE


def _extra_of(module: str | None) -> str:
    """What brings a package that is missing; '' for one that belongs to the plain installation."""
    from callout.doctor.surroundings import EXTRAS

    needed = (module or "").partition(".")[0]
    return next((f"callout[{extra}]" for extra, needs in EXTRAS.items() if needed in needs), "")


def _told(error: CalloutError) -> str:
    if error.saying.key == "as-is":
        return str(error)
    from callout.wording.language_files import english  # slow to import

    return english().part(error.saying)


def _interrupt(number: int, frame: FrameType | None) -> NoReturn:
    """Asked to end: leave as on Ctrl+C, closing journal and devices in order."""
    raise KeyboardInterrupt


def _drop_output() -> None:
    """Discard unwritten output, so that leaving cannot fail on it again."""
    with contextlib.suppress(OSError):  # an output that is not a file has nothing to discard
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main())
