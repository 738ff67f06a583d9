"""Whether the microphone's sound is usable: silent, too loud, or from too far away.

Pure: frames and utterances in, messages about them out. It decides nothing about speech; the levels
are common practice in recording, in dB below full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from callout.core.saying import Saying, saying
from callout.sound.frames import FRAME_S, FRAME_SAMPLES, Samples, level_dbfs

SILENT = saying("mic-silent")
LOUD = saying("mic-loud")
DISTANT = saying("mic-distant")


@dataclass(frozen=True)
class Limits:
    """When to report. A live microphone's own noise moves the last bits; a muted one's does not."""

    silent_peak: int = 2
    silent_s: float = 4.0
    longest_silent_s: float = 300.0
    full_scale: int = 32_600
    clipped_share: float = 0.002
    least_over_noise_db: float = 10.0
    of_last: int = 3
    """Loud or distant speech is reported after so many such utterances in a row."""


class SoundWatch:
    """Pass it every frame and every utterance; ``wrong`` is what to report, if anything."""

    def __init__(self, limits: Limits | None = None) -> None:
        self._limits = limits or Limits()
        self._silent_s = self._limits.silent_s
        self._silent_frames = 0
        self._was_silent = False
        self._loud = 0
        self._distant = 0

    @property
    def silent(self) -> bool:
        """Digital silence for longer than a live microphone could give."""
        return self._was_silent or self._silent_frames * FRAME_S >= self._silent_s

    @property
    def silent_s(self) -> float:
        """The duration of silence, if it is a fault; else 0."""
        return self._silent_frames * FRAME_S if self.silent else 0.0

    @property
    def wrong(self) -> Saying | None:
        """The worst fault, or None."""
        if self.silent:
            return SILENT
        if self._loud >= self._limits.of_last:
            return LOUD
        return DISTANT if self._distant >= self._limits.of_last else None

    def frame(self, samples: Samples) -> None:
        """Take 30 ms of sound."""
        peak = max(int(samples.max()), -int(samples.min()))
        if peak <= self._limits.silent_peak:
            self._silent_frames += 1
            return
        if self.silent:  # some headsets send silence between words: be slower
            self._silent_s = min(self._silent_s * 3, self._limits.longest_silent_s)
        self._silent_frames, self._was_silent = 0, False

    def utterance(self, samples: Samples, floor_dbfs: float) -> None:
        """Take a whole utterance, and the noise around it. Its loudest tenth of a second counts."""
        limits = self._limits
        clipped = np.count_nonzero(np.abs(samples.astype(np.int32)) >= limits.full_scale)
        self._loud = self._loud + 1 if clipped > limits.clipped_share * samples.size else 0
        over_db = _loudest_dbfs(samples) - floor_dbfs
        self._distant = self._distant + 1 if over_db < limits.least_over_noise_db else 0

    def anew(self) -> None:
        """Another microphone. A silent state lasts until a sound comes: nothing works so far."""
        self._was_silent = self.silent
        self._silent_s = self._limits.silent_s
        self._silent_frames = self._loud = self._distant = 0


def _loudest_dbfs(samples: Samples) -> float:
    size = 3 * FRAME_SAMPLES
    pieces = [samples[at : at + size] for at in range(0, max(1, samples.size - size + 1), size)]
    return max(level_dbfs(piece) for piece in pieces)
