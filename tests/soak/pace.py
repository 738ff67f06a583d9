"""Played sound at the pace of the clock, as a microphone would give it; else as fast as it goes.

What comes while nobody reads waits in a queue, as the microphone's does, and is lost past its end.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from callout.sound.frames import FRAME_S

QUEUE_S = 20.0
"""As long as the microphone's own (``callout/sound/microphone.py``)."""


@dataclass
class Pace:
    """One microphone after another: ``begin`` at each, then ``wait`` before every frame."""

    real_time: bool
    worst_behind_s: float = 0.0
    lost_s: float = 0.0
    _began_s: float = 0.0

    def begin(self) -> None:
        """A microphone begins to capture."""
        self._began_s = time.monotonic()

    def wait(self, end_s: float) -> None:
        """Until the frame that ends at ``end_s`` of this microphone's stream has sounded."""
        if not self.real_time:
            return
        early_s = self._began_s + end_s - time.monotonic()
        self.worst_behind_s = max(self.worst_behind_s, -early_s)
        if early_s > 0:
            time.sleep(early_s)

    def missed(self, at_s: float) -> tuple[float, float]:
        """Seconds of quiet that were captured while nobody read, and seconds after that were lost.

        The measurer waits for an answer, so what came meanwhile is the wood alone.
        """
        if not self.real_time:
            return 0.0, 0.0
        behind_s = time.monotonic() - self._began_s - at_s
        if behind_s < 2 * FRAME_S:
            return 0.0, 0.0
        lost_s = behind_s - QUEUE_S if behind_s > QUEUE_S + 1.0 else 0.0
        self.lost_s += lost_s
        return behind_s - lost_s, lost_s

    def rest(self, seconds: float | None) -> None:
        """A wait of the program's own, which takes its time only in real time."""
        if self.real_time and seconds:
            time.sleep(seconds)
