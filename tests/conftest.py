"""What all tests share: a place of their own, and the same cases each time.

No test sees the machine's home, settings, time zone, locale, terminal or sound devices: it is run
as if there were none, here and in the commands it starts, and makes what it needs. Property tests
try the same cases each time; ``CALLOUT_EXPLORE=1`` lets hypothesis draw new ones.
"""

from __future__ import annotations

import fcntl
import gc
import os
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# How long a case takes to draw says how busy the machine is.
_TIMELESS = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("same each time", derandomize=True, **_TIMELESS)
settings.register_profile("explore", **_TIMELESS)
settings.load_profile("explore" if os.environ.get("CALLOUT_EXPLORE") else "same each time")

_HOME = tempfile.TemporaryDirectory(prefix="callout-home-")
# What one worker has compiled the others and their commands need not.
_CACHE = os.environ.setdefault("CALLOUT_TEST_CACHE", f"{_HOME.name}/.cache")
_OURS = {
    "HOME": _HOME.name,
    "XDG_CACHE_HOME": _CACHE,
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "LANG": "C.UTF-8",
    "TERM": "xterm-256color",
    "COLUMNS": "100",
    "LINES": "30",
    # No sound server answers there, and ALSA knows no card.
    "PULSE_SERVER": "unix:/nowhere",
    "ALSA_CONFIG_PATH": os.devnull,
}
_NOT_OURS = (
    "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_DATA_HOME", "XDG_RUNTIME_DIR", "LANGUAGE", "LC_CTYPE",
    "LC_MESSAGES", "LC_NUMERIC", "LC_TIME", "COLORTERM", "NO_COLOR",
    "FORCE_COLOR", "CLICOLOR_FORCE", "PULSE_SOURCE", "PULSE_SINK", "CALLOUT_GRAMMARS", "EDITOR",
    "CALLOUT_OFFICE", "PYTHONDONTWRITEBYTECODE",
)  # fmt: skip
_AT_THE_PACE_OF_SOUND = (
    "tests/soak/", "tests/station/test_capture.py", "tests/station/test_kill.py", "tests/daemon/",
    "tests/station/test_apart.py", "tests/sound/test_looped.py",
)  # fmt: skip
_MEMORY, _MEMORY_BYTES = Path("/dev/shm"), 2 << 30
_BROWSERS = Path.home() / ".cache" / "ms-playwright"


class _Watched(sqlite3.Connection):
    """Warns when it is given up unclosed, as connections do by themselves from Python 3.13 on."""

    _open = ""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        frame, places = sys._getframe(1), []
        while frame is not None and len(places) < 7:
            places.append(f"{frame.f_code.co_filename}:{frame.f_lineno}")
            frame = frame.f_back  # type: ignore[assignment]
        self._open = " < ".join(places)

    def close(self) -> None:
        super().close()
        self._open = ""

    def __del__(self) -> None:
        if self._open:
            warnings.warn(f"unclosed database, opened at {self._open}", ResourceWarning, 1, self)


if sys.version_info < (3, 13):
    _connect = sqlite3.dbapi2.connect
    sqlite3.connect = sqlite3.dbapi2.connect = lambda *given, **named: _connect(  # type: ignore
        *given, **{"factory": _Watched, **named}
    )


def _read_once() -> None:
    """Grammars and automata, which never change, are read once and not for each command.

    What a file holds counts, so that another one under the same name is read anew. Workers that
    need the same one wait until the first has compiled it.
    """
    from callout.station import compiled, data

    read, language, compile = compiled._read, data._language, compiled.compiled

    @lru_cache(maxsize=12)
    def automaton(path: Path, held: object) -> Any:
        return read(path)

    @lru_cache(maxsize=24)
    def made(code: str, path: Path, names: Any, held: object, folders: object) -> Any:
        return language(code, path, *names)

    def held(path: Path) -> tuple[int, int]:
        found = path.stat()
        return found.st_mtime_ns, found.st_size

    def language_of(code: str, path: Path, *names: Any) -> Any:
        beside = [path, path.with_suffix(".dict")]
        files = tuple(held(one) for one in beside if one.is_file())
        return made(code, path, names, files, data.grammar_folders())

    def in_turn(grammar: Any, root: str, scope: Any = None) -> Any:
        path = compiled._path(grammar, root, scope)
        if path.exists() or os.environ.get("XDG_CACHE_HOME") != _CACHE:
            return compile(grammar, root, scope)
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.with_suffix(".lock").open("w") as turn:
            fcntl.flock(turn, fcntl.LOCK_EX)
            return compile(grammar, root, scope)

    compiled._read = lambda path: automaton(path, held(path))
    data._language, data.compiled = language_of, in_turn


def pytest_configure() -> None:
    """Before any test is collected, so that what modules read at their import is ours too."""
    if "TMPDIR" not in os.environ and _has_room(_MEMORY):
        # Each entry of a journal waits for the disk; here nobody needs it after a power cut.
        os.environ["TMPDIR"] = tempfile.tempdir = str(_MEMORY)
    os.environ.setdefault("PLAYWRIGHT_BROWSERS_PATH", str(_BROWSERS))
    os.environ.update(_OURS)
    for name in _NOT_OURS:
        os.environ.pop(name, None)
    # Hundreds of commands are started: none compiles every module anew.
    sys.dont_write_bytecode = False
    if hasattr(time, "tzset"):
        time.tzset()
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        # A run in the background is told to ignore it, and what a test starts inherits that.
        signal.signal(signal.SIGINT, signal.default_int_handler)
    _read_once()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: a third of the time is waiting for sound and programs."""
    return (os.cpu_count() or 1) + 1


def _has_room(folder: Path) -> bool:
    """Whether it is writable, programs may be run from it, and what tests leave fits in it."""
    if not os.access(folder, os.W_OK):
        return False
    disk = os.statvfs(folder)
    return disk.f_bavail * disk.f_frsize > _MEMORY_BYTES and not disk.f_flag & os.ST_NOEXEC


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What goes at the pace of sound comes first: nobody waits for it alone at the end."""
    items.sort(key=lambda item: not item.nodeid.startswith(_AT_THE_PACE_OF_SOUND))


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Garbage is looked for less often: a third of the time went into walking what never dies."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 10, 10)


def pytest_unconfigure() -> None:
    _HOME.cleanup()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Each worker begins with its own half of the files, and takes over what is left of another's.

    So what a file's tests share is mostly made once, and no core is idle at the end.
    """
    from xdist.scheduler import WorkStealingScheduling

    chosen = config.getoption("dist") == "load"  # as "-n" gives it
    return WorkStealingScheduling(config, log) if chosen else None


@pytest.fixture(scope="session", autouse=True)
def _no_slow_disk() -> None:
    """A pause of a busy machine is not told as a slow disk, in the middle of another test."""
    from callout.station.upkeep import ledger

    ledger.SLOW_DISK_S = 3600.0


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A real one, for the tests of pages; they skip without it."""
    api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    binary = shutil.which("chromium") or shutil.which("chromium-browser")
    if binary is None:
        pytest.skip("Chromium is not installed")
    with api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path=binary,
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        )
        yield opened
        opened.close()
