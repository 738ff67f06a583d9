"""The tracked noise floor, and the energy gate above it.

The floor is the tenth percentile of the last seconds' frame levels: speech has gaps, steady noise
has none, so the quiet tenth is the noise even while somebody speaks. Nothing else belongs here.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import deque

from callout.sound.endpoint_settings import EndpointSettings

# Start with some assumed quiet, or a stream that opens in speech would gate itself out.
_FIRST_FRAMES = 15
_QUIET_SHARE = 0.1


class NoiseFloor:
    """Levels in dBFS; `hear` every frame that is not the tool's own echo."""

    def __init__(self, settings: EndpointSettings) -> None:
        self._settings = settings
        first = [settings.floor_first_dbfs] * _FIRST_FRAMES
        self._levels: deque[float] = deque(first, maxlen=settings.floor_window_frames)
        self._sorted = sorted(self._levels)
        self.floor_dbfs = settings.floor_first_dbfs

    def hear(self, level_dbfs: float) -> None:
        if len(self._levels) == self._levels.maxlen:
            del self._sorted[bisect_left(self._sorted, self._levels[0])]
        self._levels.append(level_dbfs)
        insort(self._sorted, level_dbfs)
        self.floor_dbfs = self._quiet()

    def _quiet(self) -> float:
        """As numpy's percentile; at each frame that takes more than all else silence costs."""
        at = (len(self._sorted) - 1) * _QUIET_SHARE
        below, share = int(at), at % 1
        low, high = self._sorted[below], self._sorted[min(below + 1, len(self._sorted) - 1)]
        return high - (high - low) * (1 - share) if share >= 0.5 else low + (high - low) * share

    @property
    def gate_dbfs(self) -> float:
        over = self.floor_dbfs + self._settings.gate_over_floor_db
        return max(self._settings.gate_least_dbfs, over)
