"""Figures of a trial of microphone and loudspeaker, and what they lead to.

The rooms are simulated (``loudspeaker``, invented): what is put in must be told again.
"""

from __future__ import annotations

import numpy as np
import pytest
from loudspeaker import _returned, _whole

from callout.sound.frames import SAMPLE_RATE_HZ, Samples, level_dbfs
from callout.sound.own.sound_trial import Taken, figures, suits
from callout.sound.voice import Voice

PHRASE = "Eighty-three, thirty-one point eight. Confirm?"


def quiet(dbfs: float, seconds: float, seed: int = 1) -> np.ndarray:
    size = round(seconds * SAMPLE_RATE_HZ)
    return np.random.default_rng(seed).normal(0, 10 ** (dbfs / 20), size)


def trial(
    words: Samples, delay_s: float, back_db: float, noise_dbfs: float, seed: int = 1
) -> Taken:
    """``words`` begin after 0.6 s and come back plainly, so late and so much quieter."""
    heard = quiet(noise_dbfs, 5.0, seed)
    at = round(0.6 * SAMPLE_RATE_HZ)
    low = at + round(delay_s * SAMPLE_RATE_HZ)
    heard[low : low + words.size] += words / 32768.0 * 10 ** (back_db / 20)
    return Taken(_whole(heard), words, at)


@pytest.mark.parametrize("delay_s", [0.02, 0.11, 0.35, 0.9])
@pytest.mark.parametrize("back_db", [-40.0, -20.0, -3.0])
def test_what_was_put_in_is_told(say: Voice, delay_s: float, back_db: float) -> None:
    words = say.say(PHRASE)
    found = figures(_whole(quiet(-70.0, 2.0, 5)), trial(words, delay_s, back_db, -70.0))
    assert found.noise_dbfs == pytest.approx(-70.0, abs=0.5)
    assert found.delay_s == pytest.approx(delay_s, abs=0.001)
    assert found.back_db == pytest.approx(back_db, abs=1.0)


def test_nothing_that_comes_back_is_told_as_nothing(say: Voice) -> None:
    words = say.say(PHRASE)
    for seed in range(10):
        found = figures(_whole(quiet(-60.0, 2.0)), trial(words, 0.1, -120.0, -60.0, seed))
        assert found.back_db is None and found.delay_s is None


def test_a_room_that_rings_is_told_within_a_few_decibels(say: Voice) -> None:
    words = say.say(PHRASE)
    for seed in range(6):
        heard = quiet(-70.0, 6.0)
        back = _returned(words / 32768.0, -20.0, np.random.default_rng(seed))
        heard[9600 : 9600 + back.size] += back
        found = figures(_whole(quiet(-70.0, 2.0)), Taken(_whole(heard), words, 9600))
        assert found.back_db == pytest.approx(-20.0, abs=4.0)
        assert found.delay_s is not None and 0.015 < found.delay_s < 0.37


@pytest.mark.parametrize("back_db, fitting", [(-120.0, "headset"), (-60.0, "headset"),
                                              (-20.0, "loudspeaker")])  # fmt: skip
def test_what_suits(say: Voice, back_db: float, fitting: str) -> None:
    if fitting == "loudspeaker":
        pytest.importorskip("pywebrtc_audio")
    words = say.say(PHRASE)
    first, second = (trial(words, 0.12, back_db, -65.0, seed) for seed in (1, 2))
    assert suits(figures(_whole(quiet(-65.0, 2.0)), second), first, second) == fitting


def test_what_no_canceller_takes_out_is_half_duplex(say: Voice) -> None:
    """A loudspeaker that plays something else as well: another's voice in the room."""
    words, other = say.say(PHRASE), say.say("tree twelve, nineteen point three")
    first, second = (trial(words, 0.12, -20.0, -65.0, seed) for seed in (1, 2))
    disturbed = second.heard.copy()
    disturbed[16000 : 16000 + other.size] += other // 4
    assert level_dbfs(other // 4) > -45.0
    found = figures(_whole(quiet(-65.0, 2.0)), second)
    assert suits(found, first, Taken(disturbed, words, second.at)) == "half"
