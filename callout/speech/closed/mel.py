"""Log-mel features as the Whisper encoder expects them, in numpy.

25 ms Hann windows every 10 ms at 16 kHz, 80 mel bands on the Slaney scale up to 8 kHz, log10,
clamped to 80 dB below the peak, then (x + 4) / 4 (Radford and co-workers 2022, public code).
Whether the sound has any treble at all is told from the same windows.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from callout.speech.engine import SAMPLE_RATE_HZ, Samples

WINDOW, HOP, BANDS = 400, 160, 80
_FFT_BINS = WINDOW // 2 + 1
_STEP_HZ = 200.0 / 3
_LINEAR_TO_HZ = 1000.0
_LOG_STEP = np.log(6.4) / 27.0

# S, f and th lie above; a telephone's band ends below.
_TREBLE_HZ, _TREBLE_TO_HZ, _VOICE_HZ, _VOICE_TO_HZ = 4400.0, 7600.0, 200.0, 3600.0
_LEAST_RISE_DB, _MOST_BELOW_DB = 12.0, 50.0

Mel = NDArray[np.float32]


def log_mel(samples: Samples) -> Mel:
    """Features of shape (80, frames), 100 frames a second, for 16 kHz mono int16."""
    wave = samples.astype(np.float32) / 32768.0
    padded = np.pad(wave, WINDOW // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP][:-1]
    spectrum = np.fft.rfft(frames * _hann(), axis=1)
    power = (spectrum.real**2 + spectrum.imag**2).T
    log = np.log10(np.maximum(_filters() @ power, 1e-10))
    log = np.maximum(log, log.max() - 8.0)
    features: Mel = ((log + 4.0) / 4.0).astype(np.float32)
    return features


def dull(samples: Samples) -> bool:
    """Whether nothing of the speech is heard above 4.4 kHz, for 16 kHz mono int16.

    So it is where a headset or a recording has a telephone's band, or where noise covers the
    treble: the loudest twentieth of the windows is less than 12 dB above the quietest fifth there,
    or 50 dB below the voice. "Six" and "eight", "three" and "two", "four" and "oh" sound much
    alike then.
    """
    if len(samples) < WINDOW:
        return True
    frames = np.lib.stride_tricks.sliding_window_view(samples.astype(np.float32), WINDOW)[::HOP]
    spectrum = np.fft.rfft(frames * _hann(), axis=1)
    power = spectrum.real**2 + spectrum.imag**2
    hertz = np.linspace(0.0, SAMPLE_RATE_HZ / 2, _FFT_BINS)

    def level_db(low: float, high: float, share: float) -> float:
        band = power[:, (hertz > low) & (hertz < high)].mean(axis=1)
        return float(10 * np.log10(np.percentile(band, share) + 1e-3))

    loud = level_db(_TREBLE_HZ, _TREBLE_TO_HZ, 95)
    rise = loud - level_db(_TREBLE_HZ, _TREBLE_TO_HZ, 20)
    return rise < _LEAST_RISE_DB or loud < level_db(_VOICE_HZ, _VOICE_TO_HZ, 95) - _MOST_BELOW_DB


@lru_cache(maxsize=1)
def _hann() -> NDArray[np.float32]:
    return np.hanning(WINDOW + 1)[:-1].astype(np.float32)


@lru_cache(maxsize=1)
def _filters() -> NDArray[np.float32]:
    """Triangles of equal area between Slaney mel points, shape (80, 201)."""
    edges = _mel_to_hz(np.linspace(0.0, _hz_to_mel(SAMPLE_RATE_HZ / 2), BANDS + 2))
    bins = np.linspace(0.0, SAMPLE_RATE_HZ / 2, _FFT_BINS)
    widths = np.diff(edges)
    slopes = edges[:, None] - bins[None, :]
    lower = -slopes[:-2] / widths[:-1, None]
    upper = slopes[2:] / widths[1:, None]
    triangles = np.maximum(0.0, np.minimum(lower, upper))
    scaled = triangles * (2.0 / (edges[2:] - edges[:-2]))[:, None]
    return scaled.astype(np.float32)


def _hz_to_mel(hz: float) -> float:
    if hz < _LINEAR_TO_HZ:
        return hz / _STEP_HZ
    return float(_LINEAR_TO_HZ / _STEP_HZ + np.log(hz / _LINEAR_TO_HZ) / _LOG_STEP)


def _mel_to_hz(mel: NDArray[np.float64]) -> NDArray[np.float64]:
    knee = _LINEAR_TO_HZ / _STEP_HZ
    linear = mel * _STEP_HZ
    logarithmic = _LINEAR_TO_HZ * np.exp(_LOG_STEP * (mel - knee))
    return np.where(mel < knee, linear, logarithmic)
