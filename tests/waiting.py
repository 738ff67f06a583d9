"""Waiting for the thing itself: a busy machine is slow, and not wrong for that.

No test sleeps and then looks, and none sets a bound on how soon a thing must come, unless that is
its point; then the bound is in CPU seconds, or says why not.
"""

from __future__ import annotations

import time
from collections.abc import Callable

LONG_S = 180.0
"""Longer than any of it takes on a machine that is many times slower; costs nothing otherwise."""


def wait_for(there: Callable[[], object], seconds: float = LONG_S, every_s: float = 0.01) -> None:
    """Return once ``there`` says so; AssertionError where it never does."""
    until = time.monotonic() + seconds
    while not there():
        assert time.monotonic() < until, f"it did not come within {seconds:g} s"
        time.sleep(every_s)
