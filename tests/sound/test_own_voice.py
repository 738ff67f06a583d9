"""Our own voice beside what the microphone takes: when it sounds, and taken out where it returns.

The room is a simulated one (``loudspeaker``, invented). How much the canceller leaves is measured
as echo return loss enhancement, the measure of ITU-T G.168.
"""

from __future__ import annotations

import sys

import numpy as np
import pytest
from loudspeaker import _loud, _returned, _whole
from sound_tools import quiet

from callout.core.errors import DeviceError
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, frames_of, level_dbfs
from callout.sound.own.own_voice import OwnVoice, canceller
from callout.sound.voice import Voice


def through(own: OwnVoice, heard: Samples, base_s: float = 0.0) -> Samples:
    return np.concatenate([own.take(frame).samples for frame in frames_of(heard, base_s)])


def test_with_a_headset_every_frame_passes_as_it_is() -> None:
    own = OwnVoice()
    own.plays(quiet(2.0) + 9000, 0.0)
    heard = np.arange(4800, dtype=np.int16)
    assert np.array_equal(through(own, heard), heard)


def test_when_words_of_ours_may_be_heard() -> None:
    own = OwnVoice()
    own.plays(quiet(2.0), 10.0)
    own.plays(quiet(0.3), 14.0, words=False)
    assert not own.sounded(9.0, 10.0) and own.sounded(9.0, 10.1)
    assert own.sounded(12.2, 13.0), "it still comes back"
    assert not own.sounded(12.4, 13.0)
    assert not own.sounded(14.0, 14.2), "tones say nothing"
    own.ends(11.0)
    assert own.sounded(11.2, 13.0) and not own.sounded(11.4, 13.0), "it was broken off"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_comes_back_is_taken_out_and_a_person_stays(say: Voice, seed: int) -> None:
    pytest.importorskip("pywebrtc_audio")
    own = OwnVoice(canceller())
    echo = say.say("eighty three, thirty one point eight") / 32768.0
    person = say.say("no") / 32768.0
    person *= 10.0 ** (-24 / 20) / _loud(person)
    noise = np.random.default_rng(9)
    lefts = []
    for number in range(4):
        base_s = 5.0 * number
        heard = noise.normal(0, 10.0 ** (-70 / 20), 5 * SAMPLE_RATE_HZ)
        back = _returned(echo, -20.0, np.random.default_rng(seed))
        heard[SAMPLE_RATE_HZ : SAMPLE_RATE_HZ + back.size] += back
        at = 2 * SAMPLE_RATE_HZ
        if number == 3:
            heard[at : at + person.size] += person
        own.plays(_whole(echo), base_s + 1.0)
        left = through(own, _whole(heard), base_s)
        spoken = slice(at, at + person.size)
        lefts.append((level_dbfs(_whole(heard)[spoken]), level_dbfs(left[spoken])))
    before, after = lefts[2]
    assert before - after > 15.0, "the third echo in that room"
    before, after = lefts[3]
    assert before - after < 6.0, "but a person over the fourth is there"


def test_without_the_library_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pywebrtc_audio", None)
    with pytest.raises(DeviceError, match=r"no-canceller|canceller"):
        canceller()
