"""Whether somebody begins to speak while our own voice sounds, told before any word is known.

A voice has a pitch; wind, knocks and what a canceller leaves of our own voice have none, or not for
long. Pure: frames in, yes or no out. It silences the voice, and decides nothing else.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples

_WINDOW, _OF_WINDOW = 5, 4
"""Speech is four frames of five, 0.12 s."""
_LEAST_PITCH = 0.55
"""How like itself the sound is one period later: 1 is a pure tone. Measured, see docs/sound.md."""
_LEAST_DBFS = -42.0
_BAND_HZ = (150.0, 1500.0)
_PERIODS = slice(SAMPLE_RATE_HZ // 400, SAMPLE_RATE_HZ // 76)
_SIZE = 2048


def _alike(windows: np.ndarray) -> np.ndarray:
    """The autocorrelation of the window, within the band of a voice's pitch and first overtones."""
    power = np.abs(np.fft.rfft(windows, _SIZE)) ** 2
    hertz = np.fft.rfftfreq(_SIZE, 1 / SAMPLE_RATE_HZ)
    power[(hertz < _BAND_HZ[0]) | (hertz > _BAND_HZ[1])] = 0.0
    return np.fft.irfft(power)


_SHAPE = np.hanning(2 * FRAME_SAMPLES)
_OF_SHAPE = np.fft.irfft(np.abs(np.fft.rfft(_SHAPE, _SIZE)) ** 2)
_OF_SHAPE = _OF_SHAPE[_PERIODS] / _OF_SHAPE[0]


def pitch(samples: Samples) -> float:
    """How much of a pitch two frames (shape (960,)) have: 0 none, 1 a pure tone."""
    alike = _alike(samples.astype(np.float64) * _SHAPE)
    if alike[0] <= 0.0:
        return 0.0
    return float((alike[_PERIODS] / alike[0] / _OF_SHAPE).max())


class Onset:
    """``take`` every frame, our own voice taken out of it; True once speech has begun."""

    def __init__(self) -> None:
        self._last: Samples = np.zeros(FRAME_SAMPLES, np.int16)
        self._recent: deque[bool] = deque(maxlen=_WINDOW)

    def take(self, frame: Frame, *, voiced: bool, sounds: bool) -> bool:
        """``voiced`` by the detector of speech; ``sounds``: words of ours do, just now."""
        before, self._last = self._last, frame.samples
        loud = sounds and voiced and frame.level_dbfs > _LEAST_DBFS
        speech = loud and pitch(np.concatenate([before, frame.samples])) >= _LEAST_PITCH
        self._recent.append(speech)
        return sum(self._recent) >= _OF_WINDOW
