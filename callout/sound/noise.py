"""The tracked noise floor, and the energy gate above it.

The floor is the tenth percentile of the last seconds' frame levels: speech has gaps, steady noise
has none, so the quiet tenth is the noise even while somebody speaks. Nothing else belongs here.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from callout.sound.endpoint_settings import EndpointSettings

# Start with some assumed quiet, or a stream that opens in speech would gate itself out.
_FIRST_FRAMES = 15
_QUIET_PERCENT = 10.0


class NoiseFloor:
    """Levels in dBFS; `hear` every frame that is not the tool's own echo."""

    def __init__(self, settings: EndpointSettings) -> None:
        self._settings = settings
        first = [settings.floor_first_dbfs] * _FIRST_FRAMES
        self._levels: deque[float] = deque(first, maxlen=settings.floor_window_frames)
        self.floor_dbfs = settings.floor_first_dbfs

    def hear(self, level_dbfs: float) -> None:
        self._levels.append(level_dbfs)
        self.floor_dbfs = float(np.percentile(self._levels, _QUIET_PERCENT))

    @property
    def gate_dbfs(self) -> float:
        over = self.floor_dbfs + self._settings.gate_over_floor_db
        return max(self._settings.gate_least_dbfs, over)
