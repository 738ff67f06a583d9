"""Treatments of a whole utterance before the engine, by name, to be compared.

Each takes 16 kHz mono int16 and gives as many samples back. None is wired into the tool.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from callout.speech.engine import SAMPLE_RATE_HZ, Samples

_WINDOW, _HOP = 512, 128


def high_passed(samples: Samples, hertz: float = 100.0) -> Samples:
    """Without what lies below ``hertz``: second order Butterworth, in the spectrum, no delay."""
    spectrum = np.fft.rfft(samples.astype(np.float64), 2 * len(samples))
    ratio = (np.fft.rfftfreq(2 * len(samples), 1 / SAMPLE_RATE_HZ) / hertz) ** 4
    kept = np.fft.irfft(spectrum * np.sqrt(ratio / (1 + ratio)))[: len(samples)]
    return _int16(kept)


def levelled(samples: Samples, target_dbfs: float = -23.0) -> Samples:
    """The loud half second parts at ``target_dbfs``, no sample past full scale."""
    wave = samples.astype(np.float64)
    frames = wave[: len(wave) // 160 * 160].reshape(-1, 160)
    power = np.mean(frames**2, axis=1)
    if not len(power) or power.max() <= 0:
        return samples
    loud = float(np.sqrt(np.mean(power[power > power.max() / 100])))
    gain = 32768 * 10 ** (target_dbfs / 20) / loud
    return _int16(wave * min(gain, 32000 / float(np.abs(wave).max())))


def suppressed(samples: Samples, floor_db: float = -12.0, over: float = 1.5) -> Samples:
    """Spectral subtraction: noise from each band's quietest fifth of the time."""
    if len(samples) < 4 * _WINDOW:
        return samples
    wave = np.pad(samples.astype(np.float64), _WINDOW)
    window = np.hanning(_WINDOW + 1)[:-1]
    frames = np.lib.stride_tricks.sliding_window_view(wave, _WINDOW)[::_HOP] * window
    spectrum = np.fft.rfft(frames, axis=1)
    power = _smoothed(spectrum.real**2 + spectrum.imag**2)
    noise = np.quantile(power, 0.2, axis=0) * over
    gain = np.sqrt(np.maximum(1 - noise / (power + 1e-9), 10 ** (floor_db / 10)))
    pieces = np.fft.irfft(spectrum * gain, axis=1) * window
    whole = np.zeros(len(wave))
    for at, piece in enumerate(pieces):
        whole[at * _HOP : at * _HOP + _WINDOW] += piece
    scale = float(np.sum(window**2)) / _HOP
    return _int16(whole[_WINDOW : _WINDOW + len(samples)] / scale)


def _smoothed(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean of each frame with its neighbours in time, so that single bins do not sing."""
    padded = np.pad(power, ((1, 1), (0, 0)), mode="edge")
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3)


def _int16(wave: NDArray[np.float64]) -> Samples:
    return np.clip(np.rint(wave), -32768, 32767).astype(np.int16)


FRONTS: Mapping[str, Callable[[Samples], Samples] | None] = {
    "as it is": None,
    "high-pass 80 Hz": lambda samples: high_passed(samples, 80.0),
    "high-pass 120 Hz": lambda samples: high_passed(samples, 120.0),
    "level": levelled,
    "suppression": suppressed,
    "high-pass 100 Hz, suppression, level": lambda s: levelled(suppressed(high_passed(s))),
}
