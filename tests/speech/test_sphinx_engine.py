"""PocketSphinx: the same sound is heard alike whatever came before, and what is no callout is not.

Speech is the recorded walk (flite, invented callouts; its sidecar says what is said); noise is
drawn from a fixed seed.
"""

from __future__ import annotations

import numpy as np
import pytest

from callout.grammar.scope import Scope
from callout.sound.endpoint import Endpointer
from callout.sound.frames import frames_of
from callout.sound.sound_files import read_sound
from callout.speech.engine import SAMPLE_RATE_HZ
from callout.speech.sphinx import SphinxEngine
from callout.station.data import data_folder, load_language

SCOPE = Scope(frozenset(["61", "64", "67", "70", "72", "75", "78", "81", "83", "86", "88", "91"]))
FIRST_OF_64, CONFIRM, OF_83 = 2, 3, 18


@pytest.fixture(scope="module")
def engine():
    language = load_language("en")
    made = SphinxEngine(language.pronunciations)
    made.prepare(language.spoken_in(SCOPE))
    return made


@pytest.fixture(scope="module")
def walk():
    """The walk's utterances, as they are cut at work."""
    ears = Endpointer()
    sound = read_sound(data_folder("audio_fixtures") / "walk.flac")
    found = [item for frame in frames_of(sound) for item in ears.push(frame)]
    return [item.samples for item in (*found, *ears.flush())]


def test_a_callout_is_heard(engine, walk):
    (heard,) = engine.hear(walk[FIRST_OF_64])
    assert heard.words == "tree sixty four diameter twenty one point five"
    assert heard.confidence > 0.5
    assert engine.hear(walk[CONFIRM])[0].words == "confirm"


def test_the_same_sound_is_heard_alike_whatever_came_before(engine, walk):
    """Replay and verify hear sounds in another order than they were spoken in."""
    first = engine.hear(walk[OF_83])
    loud = np.random.RandomState(3).normal(0, 9000, 2 * SAMPLE_RATE_HZ).astype(np.int16)
    for other in (loud, walk[OF_83] // 30, walk[CONFIRM]):
        engine.hear(other)
        assert engine.hear(walk[OF_83]) == first
    language = load_language("en")
    fresh = SphinxEngine(language.pronunciations)
    fresh.prepare(language.spoken_in(SCOPE))
    assert fresh.hear(walk[OF_83]) == first != ()


def test_how_loud_it_was_said_hardly_matters(engine, walk):
    (usual,), (soft,) = engine.hear(walk[OF_83]), engine.hear(walk[OF_83] // 8)
    assert usual.meanings == soft.meanings
    assert usual.confidence == pytest.approx(soft.confidence, abs=0.1)


@pytest.mark.parametrize("kind", ["hiss", "hum", "knock", "silence"])
def test_what_is_no_speech_is_no_callout(engine, kind):
    draw = np.random.RandomState(5)
    time = np.arange(2 * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    wave = {
        "hiss": draw.normal(0, 3000, len(time)),
        "hum": 6000 * np.sin(2 * np.pi * 110 * time),
        "knock": 20_000 * np.exp(-((time - 1) * 40 * (time > 1)) - 99 * (time < 1)),
        "silence": np.zeros(len(time)),
    }[kind]
    heard = engine.hear(wave.astype(np.int16))
    assert not heard or heard[0].confidence < 0.5


def test_nothing_at_all_is_no_callout(engine):
    assert engine.hear(np.zeros(0, np.int16)) == ()
    assert engine.timed(np.zeros(0, np.int16)) == ()
    assert engine.hear(np.zeros(100, np.int16)) == ()


def test_words_are_timed_in_the_sound_as_it_was_given(engine, walk):
    """With a second more silence before it, every word stands a second later."""
    sound = walk[OF_83]
    later = np.concatenate([np.zeros(SAMPLE_RATE_HZ, np.int16), sound])
    first, second = engine.timed(sound), engine.timed(later)
    assert [item.word for item in first] == [item.word for item in second] != []
    assert 0.1 < first[0].start_s < 0.6  # the pre-roll is 0.3 s
    for one, other in zip(first, second, strict=True):
        assert other.start_s - one.start_s == pytest.approx(1.0, abs=0.03)
    assert all(0 <= item.confidence <= 1 for item in first)
