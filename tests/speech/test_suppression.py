"""Noise suppression: steady noise goes down, what comes and goes stays. All sounds are invented."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.hearing.suppression import MOST_TAKEN_DB, without_steady_noise
from callout.core.errors import ProgrammerError
from callout.sound.frames import SAMPLE_RATE_HZ, level_dbfs
from callout.sound.sound_files import read_sound
from callout.station.data import data_folder

SECOND = SAMPLE_RATE_HZ


def bursts(noise=300.0, loud=6000.0):
    """Two seconds of white noise with a tone of 700 Hz from 0.5 to 1.0 s."""
    rng = np.random.RandomState(7)
    time = np.arange(2 * SECOND) / SECOND
    tone = loud * np.sin(2 * np.pi * 700 * time) * ((time >= 0.5) & (time < 1.0))
    return (tone + rng.normal(0, noise, len(time))).astype(np.int16)


def test_noise_goes_down_but_by_no_more_than_is_said():
    sound = bursts()
    treated = without_steady_noise(sound)
    quiet = slice(int(1.2 * SECOND), int(1.9 * SECOND))
    lower = level_dbfs(sound[quiet]) - level_dbfs(treated[quiet])
    assert 2.0 < lower <= MOST_TAKEN_DB + 0.5


def test_what_comes_and_goes_keeps_its_level_and_place():
    sound = bursts()
    treated = without_steady_noise(sound)
    tone = slice(int(0.55 * SECOND), int(0.95 * SECOND))
    assert level_dbfs(treated[tone]) == pytest.approx(level_dbfs(sound[tone]), abs=0.3)
    # Sample for sample in step: a delay of one sample alone would lower this to 0.96.
    ratio = np.corrcoef(sound[tone].astype(float), treated[tone].astype(float))[0, 1]
    assert ratio > 0.995


def test_speech_in_quiet_is_hardly_touched():
    sound = read_sound(data_folder("audio_fixtures") / "walk.flac")[: 5 * SECOND]
    treated = without_steady_noise(sound)
    assert np.corrcoef(sound.astype(float), treated.astype(float))[0, 1] > 0.99
    assert level_dbfs(treated) == pytest.approx(level_dbfs(sound), abs=0.5)


def test_it_is_pure():
    sound = bursts()
    before = sound.copy()
    first = without_steady_noise(sound)
    assert np.array_equal(sound, before)
    assert np.array_equal(first, without_steady_noise(sound))


@pytest.mark.parametrize("length", [0, 1, 2047, 2048, 2049, 16_001])
def test_the_length_stays(length):
    treated = without_steady_noise(np.full(length, 50, np.int16))
    assert (treated.dtype, len(treated)) == (np.int16, length)


def test_silence_stays_silent_and_full_scale_does_not_wrap():
    assert not without_steady_noise(np.zeros(SECOND, np.int16)).any()
    square = np.where(np.arange(SECOND) % 40 < 20, 32767, -32768).astype(np.int16)
    square[: SECOND // 2] = 0
    treated = without_steady_noise(square).astype(int)
    inside = slice(int(0.6 * SECOND), int(0.9 * SECOND))
    assert (np.sign(treated[inside]) == np.sign(square[inside].astype(int))).mean() > 0.98


def test_other_shapes_are_refused():
    with pytest.raises(ProgrammerError, match="int16"):
        without_steady_noise(np.zeros(SECOND, np.float32))  # type: ignore[arg-type]
