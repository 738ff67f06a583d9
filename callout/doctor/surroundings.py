"""The surroundings: versions, clock, disk, home, permissions, locale, terminal."""

from __future__ import annotations

import errno
import locale
import os
import platform
import shutil
import sqlite3
import stat
import sys
import tempfile
import time
from collections.abc import Mapping
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path

import callout
from callout.doctor.finding import Finding, broken, less, works
from callout.journal.folder import SurveyFolder

EXTRAS = {
    "reports": ("matplotlib", "openpyxl", "pyarrow", "scipy", "statsmodels"),
    "office": ("psycopg", "sqlalchemy", "waitress"),
    "sign": ("cryptography",),
    "stamp": ("cryptography", "rfc3161_client"),
}
PROBE_BYTES = 1_000_000
"""About what the sound of twenty callouts takes (docs/sound.md)."""
LEAST_FREE_BYTES = 500_000_000
COLUMNS, LINES = 80, 24
_DAY_S = 86_400


def versions() -> Finding:
    """Versions of the program, Python, SQLite and the system; which extras are installed."""
    missing = [
        name for name, needs in EXTRAS.items() if not all(find_spec(package) for package in needs)
    ]
    there = [name for name in EXTRAS if name not in missing]
    extras = f"extras: {', '.join(there) or 'none'}"
    without = f" (not installed: {', '.join(missing)})" if missing else ""
    return works(
        "versions",
        f"callout {callout.__version__}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, {platform.system()} {platform.release()} "
        f"on {platform.machine()}; {extras}{without}",
    )


def clock(folder: SurveyFolder | None, now_s: float | None = None) -> Finding:
    """The clock, against times in the past: this program's own files, the survey's last entry."""
    now = time.time() if now_s is None else now_s
    shown = datetime.fromtimestamp(now).astimezone().isoformat(" ", "seconds")
    set_it = "set the clock, or wait until it is set by the network, before you measure"
    if now < Path(callout.__file__).stat().st_mtime - _DAY_S:
        return broken("clock", f"{shown} is before this program was installed", set_it)
    last = _last_entry(folder) if folder else None
    if last is not None and now < last.timestamp():
        return broken("clock", f"{shown} is before the survey's last entry, {last}", set_it)
    return works("clock", shown)


def disk(place: Path) -> Finding:
    """Whether the survey's disk can be written, and how much is free."""
    name = "disk"
    try:
        with tempfile.TemporaryFile(dir=place) as probe:
            probe.write(bytes(PROBE_BYTES))
            probe.flush()
            os.fsync(probe.fileno())
    except OSError as error:
        return broken(name, f"nothing can be written in {place}: {error.strerror}", _free(error))
    free = shutil.disk_usage(place).free
    told = f"{free / 1e9:.1f} GB free for {place}"
    if free < LEAST_FREE_BYTES:
        return less(name, told, "free some, before a day's sound does not fit")
    return works(name, told)


def home(environ: Mapping[str, str] = os.environ) -> Finding:
    """The user's own folders outside surveys: without them only comfort is lost."""
    refused = {
        told: error
        for told, variable, below in (
            ("compiled grammars", "XDG_CACHE_HOME", ".cache"),
            ("logs", "XDG_STATE_HOME", ".local/state"),
        )
        if (error := _unwritable(_base(environ, variable, below)))
    }
    if not refused:
        return works("home", f"{Path.home()} can be written")
    what = "; ".join(f"{told}: {error}" for told, error in refused.items())
    return less(
        "home",
        f"nothing can be kept there ({what})",
        "work goes on, but starts more slowly and leaves no logs; make it writable, "
        "or set XDG_CACHE_HOME and XDG_STATE_HOME to folders that are",
    )


def permissions(folder: SurveyFolder) -> Finding:
    """Whether only its owner can read the survey: it holds voices."""
    name = "permissions"
    for path in (folder.path, folder.settings, folder.database, folder.path / "audio"):
        if not path.exists():
            continue
        found = path.stat()
        if hasattr(os, "getuid") and found.st_uid != os.getuid():
            return broken(name, f"{path} belongs to another user", f"chown -R $USER {folder.path}")
        if stat.S_IMODE(found.st_mode) & 0o077 and os.name == "posix":
            return less(
                name,
                f"{path} is open to other users of this machine",
                f"chmod -R go= {folder.path}",
            )
    return works(name, f"{folder.path} is open to nobody else")


def letters() -> Finding:
    """Whether all letters of a name can be shown and read."""
    shown, read = sys.stdout.encoding or "", locale.getpreferredencoding(False)
    if all(one.casefold().replace("-", "") == "utf8" for one in (shown, read)):
        return works("letters", "UTF-8")
    return less(
        "letters",
        f"text is {shown or 'of no encoding'}, files are {read}",
        "letters outside it are shown as \\uXXXX; set LC_ALL=C.UTF-8",
    )


def terminal(environ: Mapping[str, str] = os.environ) -> Finding:
    """The terminal that commands a screen: its size and colours."""
    name, without = "terminal", "listen --headless works without one; over ssh, use ssh -t"
    size = _terminal_size()
    if size is None:
        return less(name, "there is no terminal here, so no screen", without)
    kind = environ.get("TERM", "")
    if kind in ("", "dumb"):
        return less(name, f"TERM is {kind or 'not set'}", "set it, as TERM=xterm-256color")
    told = f"{size.columns}x{size.lines}, {kind}, {_colours(environ, kind)}"
    if size.columns < COLUMNS or size.lines < LINES:
        return less(name, told, f"make the window at least {COLUMNS}x{LINES}")
    return works(name, told)


def _colours(environ: Mapping[str, str], kind: str) -> str:
    if "NO_COLOR" in environ:
        return "no colours, as NO_COLOR asks"
    if environ.get("COLORTERM", "").casefold() in ("truecolor", "24bit"):
        return "all colours"
    return "256 colours" if "256" in kind else "16 colours"


def _terminal_size() -> os.terminal_size | None:
    for stream in (sys.__stdout__, sys.__stdin__, sys.__stderr__):
        try:
            if stream is not None:
                return os.get_terminal_size(stream.fileno())
        except (OSError, ValueError):
            continue
    return None


def _base(environ: Mapping[str, str], variable: str, below: str) -> Path:
    given = environ.get(variable)
    return Path(given) if given else Path.home() / below


def _unwritable(path: Path) -> str:
    """Why nothing can be written at ``path``, which may not exist yet; '' if it can."""
    there = next((one for one in (path, *path.parents) if one.exists()), path)
    try:
        with tempfile.TemporaryFile(dir=there) as probe:
            probe.write(b"x")
    except OSError as error:
        return f"{there}: {error.strerror}"
    return ""


def _free(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return "free space: nothing can be saved before"
    return "go to a folder that is yours, on a disk that can be written, or name a survey there"


def _last_entry(folder: SurveyFolder) -> datetime | None:
    with folder.reading() as reader:
        entry = None if reader.last is None else reader.entry(reader.last)
    return datetime.fromisoformat(entry.at) if entry else None
