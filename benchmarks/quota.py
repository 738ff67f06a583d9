"""Holds processes to a share of a core each and to so much memory, as on a small board.

By control groups where they may be made (version 2, else 1), else by stopping and continuing the
processes by turns, where memory is only watched; and tells what they hold. Linux only.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from pathlib import Path

_GROUPS = Path("/sys/fs/cgroup")
PERIOD_US = 10_000
"""Short, so that a quarter of a core is a slow core rather than a fast one with holidays."""
_TURN_S = 0.04


class Board:
    """``hold`` each process; ``close`` in the end. ``how`` says by what means."""

    def __init__(self, share: float, memory_mb: int, names: tuple[str, ...]) -> None:
        self._share, self._memory_mb = share, memory_mb
        self._made: list[Path] = []
        self._cpu: dict[str, Path] = {}
        self._memory: Path | None = None
        self._turns: list[_Turns] = []
        self.how = "stopping and continuing by turns; memory is only watched"
        for make in (self._second, self._first):
            try:
                make(names)
                return
            except OSError:
                self._remove()

    def _second(self, names: tuple[str, ...]) -> None:
        own = _GROUPS / _own_path("").lstrip("/")
        if not (own / "cgroup.controllers").exists():
            raise OSError("no control groups of version 2 here")
        board = self._group(own / f"callout-board-{os.getpid()}")
        _write(board / "cgroup.subtree_control", "+cpu")
        _write(board / "memory.max", str(self._memory_mb << 20))
        self._memory = board
        for name in names:
            self._cpu[name] = self._group(board / name)
            quota = round(self._share * PERIOD_US)
            _write(self._cpu[name] / "cpu.max", f"{quota} {PERIOD_US}")
            _write(self._cpu[name] / "cpu.weight", "10000")
        self.how = "control groups, version 2: cpu.max and memory.max"

    def _first(self, names: tuple[str, ...]) -> None:
        memory = _GROUPS / "memory" / _own_path("memory").lstrip("/")
        self._memory = self._group(memory / f"callout-board-{os.getpid()}")
        _write(self._memory / "memory.limit_in_bytes", str(self._memory_mb << 20))
        for name in names:
            where = _GROUPS / "cpu" / _own_path("cpu").lstrip("/")
            self._cpu[name] = self._group(where / f"callout-board-{name}-{os.getpid()}")
            _write(self._cpu[name] / "cpu.cfs_period_us", str(PERIOD_US))
            _write(self._cpu[name] / "cpu.cfs_quota_us", str(round(self._share * PERIOD_US)))
            # Others' work on this machine must not take of the little that is allowed.
            _write(self._cpu[name] / "cpu.shares", "65536")
        self.how = "control groups, version 1: cpu.cfs_quota_us and memory.limit_in_bytes"

    def hold(self, pid: int, name: str) -> None:
        """The process ``pid`` has that share from now on."""
        if name in self._cpu:
            _write(self._cpu[name] / "cgroup.procs", str(pid))
            if self._memory is not None and (self._memory / "memory.limit_in_bytes").exists():
                _write(self._memory / "cgroup.procs", str(pid))
        else:
            self._turns.append(_Turns(pid, self._share))

    @property
    def memory_peak_mb(self) -> float | None:
        """The most the group ever held, files' pages it was first to read among it."""
        for name in ("memory.peak", "memory.max_usage_in_bytes"):
            if self._memory is not None and (self._memory / name).exists():
                return int((self._memory / name).read_text()) / (1 << 20)
        return None

    def close(self) -> None:
        """Let everything go on as before."""
        for turns in self._turns:
            turns.close()
        self._remove()

    def _group(self, path: Path) -> Path:
        path.mkdir()
        self._made.append(path)
        return path

    def _remove(self) -> None:
        while self._made:
            with contextlib.suppress(OSError):
                self._made.pop().rmdir()
        self._cpu, self._memory = {}, None


class _Turns:
    """Lets one process run for its share of every few hundredths of a second."""

    def __init__(self, pid: int, share: float) -> None:
        self._pid, self._share = pid, share
        self._leaving = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            while not self._leaving.is_set():
                os.kill(self._pid, signal.SIGCONT)
                time.sleep(_TURN_S * self._share)
                os.kill(self._pid, signal.SIGSTOP)
                time.sleep(_TURN_S * (1 - self._share))

    def close(self) -> None:
        self._leaving.set()
        self._thread.join()
        with contextlib.suppress(ProcessLookupError):
            os.kill(self._pid, signal.SIGCONT)


def held_mb(pids: list[int]) -> float:
    """Memory of these processes together; a file's page that several hold is counted once."""
    own_kb, files = 0, {}
    for pid in pids:
        key = ""
        for line in Path(f"/proc/{pid}/smaps").read_text().splitlines():
            fields = line.split()
            if "-" in fields[0] and not fields[0].endswith(":"):
                key = " ".join([*fields[2:5]])
            elif fields[0] == "Rss:":
                rss_kb = int(fields[1])
            elif fields[0] == "Anonymous:":
                own_kb += int(fields[1])
                files[key, pid] = files.get((key, pid), 0) + rss_kb - int(fields[1])
    keys = {key for key, _ in files}
    return (own_kb + sum(max(files.get((key, pid), 0) for pid in pids) for key in keys)) / 1024


def _own_path(controller: str) -> str:
    """Where this process stands in the groups of ``controller``; "" is version 2."""
    for line in Path("/proc/self/cgroup").read_text().splitlines():
        _, controllers, path = line.split(":", 2)
        if controller in controllers.split(","):
            return path
    raise OSError(f"no control group for {controller}")


def _write(path: Path, text: str) -> None:
    path.write_text(text)
