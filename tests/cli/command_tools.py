"""Runs the real command in a process of its own, warnings as errors."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from typing import Any


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
