"""Runs the command: in a process of its own, warnings as errors, or within this one, quicker."""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from callout.cli.main import main


@dataclass(frozen=True)
class Ran:
    """What a command came to."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[dict[str, Any]]:
        """Standard output as JSON lines."""
        return [json.loads(line) for line in self.out.splitlines()]


Run = Callable[..., Ran]


def run_callout(*arguments: object, env: dict[str, str] | None = None, **more: Any) -> Ran:
    """Run ``callout`` with these arguments."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "callout", *map(str, arguments)],
        capture_output=True,
        env={**os.environ, "COLUMNS": "120", **(env or {})},
        timeout=300,
        **more,
    )
    return Ran(done.returncode, done.stdout.decode(errors="replace"), done.stderr.decode())


def called(*arguments: object, stdin: str = "") -> Ran:
    """Run ``callout`` within this process; nothing but its streams and its exit is changed."""
    typed, out, err = (io.TextIOWrapper(io.BytesIO(given)) for given in (stdin.encode(), b"", b""))
    handler, before = signal.getsignal(signal.SIGTERM), sys.stdin
    sys.stdin = typed
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main([str(item) for item in arguments])
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 1
    finally:
        sys.stdin = before
        signal.signal(signal.SIGTERM, handler)
    for stream in (out, err):
        stream.flush()
        stream.seek(0)
    return Ran(code, out.read(), err.read())
