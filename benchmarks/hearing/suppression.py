"""Steady noise taken out of one whole utterance, before a recogniser hears it.

Pure: the same samples give the same samples. No part of the program: by the stage ``front`` it
helps PocketSphinx in steady noise, harms it in wind, and does nothing for the closed engine.
Gentle: of white noise it takes about 3 dB, since more cost more words than it gained.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from callout.sound.frames import Samples, require_samples

_WINDOW, _HOP = 512, 128
_LEAST_SAMPLES = 4 * _WINDOW
# A band's noise is what it has in its quietest fifth of the time: pre-roll and pauses.
_QUIET_SHARE = 0.2
OVERSUBTRACTED = 1.5
# No band is lowered by more: what is emptied altogether sounds like water, and is heard as words.
MOST_TAKEN_DB = 12.0


def without_steady_noise(samples: Samples) -> Samples:
    """As many samples, each band lowered by what of it is noise (spectral subtraction).

    After Boll 1979 and Berouti et al. 1979 (from memory). A sound too short to tell noise from
    speech comes back as it is. Raises ProgrammerError unless the samples are flat int16.
    """
    require_samples(samples)
    if len(samples) < _LEAST_SAMPLES:
        return samples
    window = np.hanning(_WINDOW + 1)[:-1]
    wave = np.pad(samples.astype(np.float64), (_WINDOW, 2 * _WINDOW))
    frames = np.lib.stride_tricks.sliding_window_view(wave, _WINDOW)[::_HOP] * window
    spectrum = np.fft.rfft(frames, axis=1)
    pieces = np.fft.irfft(spectrum * _gain(spectrum), axis=1) * window
    whole = np.zeros(len(wave))
    for at, piece in enumerate(pieces):
        whole[at * _HOP : at * _HOP + _WINDOW] += piece
    whole /= float(np.sum(window**2)) / _HOP
    kept = whole[_WINDOW : _WINDOW + len(samples)]
    treated: Samples = np.clip(np.rint(kept), -32768, 32767).astype(np.int16)
    return treated


def _gain(spectrum: NDArray[np.complex128]) -> NDArray[np.float64]:
    """By what each band of each frame is multiplied, shape (frames, bands)."""
    power = _smoothed(spectrum.real**2 + spectrum.imag**2)
    noise = np.quantile(power, _QUIET_SHARE, axis=0) * OVERSUBTRACTED
    least = 10 ** (-MOST_TAKEN_DB / 10)
    return np.asarray(np.sqrt(np.maximum(1 - noise / (power + 1e-9), least)))


def _smoothed(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean of each frame with its neighbours in time, so that single bands do not ring."""
    padded = np.pad(power, ((1, 1), (0, 0)), mode="edge")
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3)
