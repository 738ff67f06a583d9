"""Detects pauses of a device: how much sound is missing between two blocks of its stream.

Pure but for one clock that is passed in. A block that is merely late is followed by others in quick
succession, since the sound waited somewhere; after a pause they come at their own pace, and what
was said in it is lost.
"""

from __future__ import annotations

import time

from callout.sound.frames import SAMPLE_RATE_HZ

LEAST_PAUSE_S = 0.3
"""Anything less is scheduling jitter of a busy machine."""
_STEADY_BLOCKS = 4
"""After so many blocks at their own pace, whatever waited has come."""
_JUDGED_AFTER_S = 1.0
"""At the latest."""
_CAUGHT_UP_S = 0.2


def seconds_with_sleep() -> float:
    """Seconds including the time that the machine sleeps, if the system counts them."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if clock is None else time.clock_gettime(clock)


def slept_s() -> float:
    """Seconds that the machine has slept since it was started, or any constant."""
    return seconds_with_sleep() - time.monotonic()


class Pauses:
    """Detects pauses; pass it every block of one stream as it comes."""

    def __init__(self) -> None:
        self._last_s: float | None = None
        self._behind_s = 0.0
        self._resumed_s: float | None = None
        self._steady = 0

    def take(self, now_s: float, samples: int) -> int:
        """A block came at ``now_s``; returns the samples missing before it, usually 0.

        A pause is reported a few blocks late, when it is certain that the block was not just late.
        """
        last_s, self._last_s = self._last_s, now_s
        if last_s is None:
            return 0
        lasts_s = samples / SAMPLE_RATE_HZ
        late_s = now_s - last_s - lasts_s
        if self._resumed_s is None:
            if late_s > LEAST_PAUSE_S:
                self._resumed_s, self._behind_s, self._steady = now_s, late_s, 0
            return 0
        self._behind_s += late_s
        self._steady = self._steady + 1 if abs(late_s) < 0.7 * lasts_s else 0
        if self._steady < _STEADY_BLOCKS and now_s - self._resumed_s < _JUDGED_AFTER_S:
            return 0
        self._resumed_s, missing_s = None, self._behind_s
        return round(missing_s * SAMPLE_RATE_HZ) if missing_s > _CAUGHT_UP_S else 0
