"""The same utterance as it might have sounded otherwise: quicker, quieter, in wind.

So that twenty utterances teach a head the speaker and not that one quiet room. Pure, given the
random numbers.
"""

from __future__ import annotations

import numpy as np
import soxr  # type: ignore[import-untyped,unused-ignore]
from numpy.typing import NDArray

from callout.speech.engine import SAMPLE_RATE_HZ, Samples

_Wave = NDArray[np.float32]
_SLOPES = {"white": 0.0, "pink": 0.5, "wind": 1.0}
SNR_DB = (5.0, 30.0)
GAIN_DB = (-12.0, 3.0)
SPEED = 0.08
_LOUD = 0.05
_TOP = 0.95


def variant(samples: Samples, rng: np.random.Generator) -> Samples:
    """``samples`` (n,) at another speed and level, in noise of a kind and strength by chance."""
    speed = 1 + rng.uniform(-SPEED, SPEED)
    kind, snr_db = str(rng.choice(list(_SLOPES))), rng.uniform(*SNR_DB)
    wave = soxr.resample(_as_wave(samples), SAMPLE_RATE_HZ * speed, SAMPLE_RATE_HZ)
    return _as_samples(_mixed(wave, kind, snr_db, rng) * _ratio(rng.uniform(*GAIN_DB)))


def in_noise(samples: Samples, kind: str, snr_db: float, rng: np.random.Generator) -> Samples:
    """``samples`` (n,) in noise of one ``kind``: its loud parts' power over the noise's."""
    return _as_samples(_mixed(_as_wave(samples), kind, snr_db, rng))


def noise(length: int, kind: str, rng: np.random.Generator) -> _Wave:
    """White, pink (-3 dB an octave) or wind (-6 dB an octave, in gusts); RMS 1, shape (length,)."""
    hertz = np.maximum(np.fft.rfftfreq(length, 1 / SAMPLE_RATE_HZ), 20.0)
    spectrum = np.fft.rfft(rng.normal(size=length)) / hertz ** _SLOPES[kind]
    sound = np.fft.irfft(spectrum, length)
    if kind == "wind":
        gusts = rng.uniform(0.2, 1.6, length // 6000 + 3)
        sound *= np.interp(np.arange(length), np.linspace(0, length, len(gusts)), gusts)
    return np.asarray(sound / (np.sqrt(np.mean(sound**2)) + 1e-9), dtype=np.float32)


def _mixed(wave: _Wave, kind: str, snr_db: float, rng: np.random.Generator) -> _Wave:
    level = _loudness(wave) * _ratio(-snr_db)
    return np.asarray(wave + noise(len(wave), kind, rng) * level, dtype=np.float32)


def _as_wave(samples: Samples) -> _Wave:
    return np.asarray(samples / 32768, dtype=np.float32)


def _as_samples(wave: _Wave) -> Samples:
    fits = min(1.0, _TOP / (float(np.abs(wave).max(initial=0)) + 1e-9))
    return np.asarray(np.rint(wave * fits * 32767), dtype=np.int16)


def _loudness(wave: _Wave) -> float:
    """RMS of the loud parts, so that pauses do not count."""
    loud = wave[np.abs(wave) > _LOUD * np.abs(wave).max()]
    return float(np.sqrt(np.mean(loud**2))) if len(loud) else 0.0


def _ratio(decibels: float) -> float:
    return float(10 ** (decibels / 20))
