"""The one shape sound has inside this program: 16 kHz, mono, int16, in frames of 30 ms.

Only constants, the two carriers of sound and their level. No files, devices or decisions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from callout.core.errors import ProgrammerError

SAMPLE_RATE_HZ = 16_000
FRAME_SAMPLES = 480
FRAME_S = FRAME_SAMPLES / SAMPLE_RATE_HZ
SILENCE_DBFS = -96.0

Samples = NDArray[np.int16]


def require_samples(samples: Samples) -> None:
    """Raise ProgrammerError unless `samples` is a one-dimensional int16 array."""
    if samples.dtype != np.int16 or samples.ndim != 1:
        raise ProgrammerError(
            f"Sound must be a flat int16 array, not {samples.dtype} of shape {samples.shape}."
        )


def level_dbfs(samples: Samples) -> float:
    """Root-mean-square level in dB below full scale, never under SILENCE_DBFS.

    0 dBFS is a full-scale square wave, so a full-scale sine reads -3.01.
    """
    if samples.size == 0:
        return SILENCE_DBFS
    wide = samples.astype(np.float64)
    mean_square = float(np.dot(wide, wide)) / samples.size
    if mean_square <= 0.0:
        return SILENCE_DBFS
    return max(SILENCE_DBFS, 10.0 * float(np.log10(mean_square / 32768.0**2)))


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """30 ms of sound: int16 samples of shape (480,), and when they began in the stream."""

    samples: Samples
    start_s: float

    def __post_init__(self) -> None:
        require_samples(self.samples)
        if self.samples.size != FRAME_SAMPLES:
            raise ProgrammerError(
                f"A frame is {FRAME_SAMPLES} samples, not {self.samples.size}; use frames_of()."
            )

    @property
    def end_s(self) -> float:
        return self.start_s + FRAME_S

    @property
    def level_dbfs(self) -> float:
        return level_dbfs(self.samples)


@dataclass(frozen=True, slots=True, eq=False)
class Utterance:
    """A stretch of speech, shape (n,), with its place in the stream in seconds."""

    samples: Samples
    start_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        return self.samples.size / SAMPLE_RATE_HZ


def frames_of(samples: Samples, start_s: float = 0.0) -> Iterator[Frame]:
    """Cut `samples` into frames; the last is filled up with zeros, so no sound is lost."""
    require_samples(samples)
    for at in range(0, samples.size, FRAME_SAMPLES):
        piece = samples[at : at + FRAME_SAMPLES]
        if piece.size < FRAME_SAMPLES:
            piece = np.concatenate([piece, np.zeros(FRAME_SAMPLES - piece.size, dtype=np.int16)])
        yield Frame(piece, start_s + at / SAMPLE_RATE_HZ)
