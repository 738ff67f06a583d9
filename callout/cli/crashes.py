"""What happens to a defect: a plain sentence for the person, the details in a log of its own.

The log is with the user's other state, never inside the survey, and closed to others.
"""

from __future__ import annotations

import os
import sys
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from callout import __version__

CODE = 70
"""EX_SOFTWARE of sysexits.h: an error of the program, not of its input."""
MOST_BYTES = 1_000_000


def crash_log() -> Path:
    """The file that defects are written to."""
    given = os.environ.get("XDG_STATE_HOME")
    base = Path(given) if given else Path.home() / ".local" / "state"
    return base / "callout" / "crashes.log"


def crash_told(error: BaseException, where: str = "") -> str:
    """Write the defect to the log; returns the sentence to tell the person. Never raises."""
    path, what = crash_log(), f"{type(error).__name__}: {error}".splitlines()[0][:200]
    kept = "what was confirmed and told as saved is kept"
    try:
        _write(path, error, where)
    except OSError as refused:
        return f"a defect of this program ended it ({what}); {kept}; no log: {refused.strerror}"
    return f"a defect of this program ended it ({what}); {kept}; please report it with {path}"


@contextmanager
def defects_of_threads(tell: Callable[[str], None]) -> Iterator[list[str]]:
    """While active, defects that end a thread are logged and reported; yields the reports."""
    told: list[str] = []

    def ended(found: threading.ExceptHookArgs) -> None:
        if found.exc_value is None or issubclass(found.exc_type, SystemExit):
            return
        name = found.thread.name if found.thread is not None else "a thread"
        says = crash_told(found.exc_value, f"thread {name}")
        told.append(says)
        tell(f"{says}: leave, and start again")

    before, threading.excepthook = threading.excepthook, ended
    try:
        yield told
    finally:
        threading.excepthook = before


def told_at_the_end(defects: list[str]) -> int:
    """Print the reports of defects after the screen is gone; returns the exit code."""
    for says in defects:
        print(f"callout: {says}", file=sys.stderr)
    return CODE if defects else 0


def _write(path: Path, error: BaseException, where: str) -> None:
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if path.exists() and path.stat().st_size > MOST_BYTES:
        path.replace(path.with_suffix(".old.log"))
    at = datetime.now().astimezone().isoformat(timespec="seconds")
    python = sys.version.split()[0]
    head = f"{at} callout {__version__}, Python {python}, {sys.platform}{where and f', {where}'}"
    told = "".join(traceback.format_exception(error))
    path.touch(mode=0o600)
    with path.open("a", encoding="utf-8", errors="backslashreplace") as log:
        log.write(f"{head}\n{told}\n")
