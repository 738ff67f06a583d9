"""Treatments of a whole utterance before the engine, by name, to be compared.

Each takes 16 kHz mono int16 and gives as many samples back. None is wired into the tool.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing.suppression import without_steady_noise
from callout.speech.engine import SAMPLE_RATE_HZ, Samples


def high_passed(samples: Samples, hertz: float = 100.0) -> Samples:
    """Without what lies below ``hertz``: second order Butterworth, in the spectrum, no delay."""
    spectrum = np.fft.rfft(samples.astype(np.float64), 2 * len(samples))
    ratio = (np.fft.rfftfreq(2 * len(samples), 1 / SAMPLE_RATE_HZ) / hertz) ** 4
    kept = np.fft.irfft(spectrum * np.sqrt(ratio / (1 + ratio)))[: len(samples)]
    return _int16(kept)


def levelled(samples: Samples, target_dbfs: float = -23.0) -> Samples:
    """The loud parts at ``target_dbfs``, no sample past full scale."""
    wave = samples.astype(np.float64)
    frames = wave[: len(wave) // 160 * 160].reshape(-1, 160)
    power = np.mean(frames**2, axis=1)
    if not len(power) or power.max() <= 0:
        return samples
    loud = float(np.sqrt(np.mean(power[power > power.max() / 100])))
    gain = 32768 * 10 ** (target_dbfs / 20) / loud
    return _int16(wave * min(gain, 32000 / float(np.abs(wave).max())))


def _int16(wave: NDArray[np.float64]) -> Samples:
    return np.clip(np.rint(wave), -32768, 32767).astype(np.int16)


FRONTS: Mapping[str, Callable[[Samples], Samples] | None] = {
    "as it is": None,
    "high-pass 80 Hz": lambda samples: high_passed(samples, 80.0),
    "high-pass 120 Hz": lambda samples: high_passed(samples, 120.0),
    "level": levelled,
    "suppression": without_steady_noise,
    "high-pass 100 Hz, suppression, level": lambda s: levelled(
        without_steady_noise(high_passed(s))
    ),
}
