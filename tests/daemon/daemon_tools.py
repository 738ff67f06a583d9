"""What the daemon's tests share besides their fixtures."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable

Start = Callable[..., "subprocess.Popen[bytes]"]


def wait_for(found: Callable[[], bool], seconds: float = 20.0) -> None:
    until = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < until, "it did not come"
        time.sleep(0.02)
