"""PocketSphinx: the same sound is heard alike whatever came before, and what is no callout is not.

Speech is the echo's own espeak-ng voice (invented callouts); noise is drawn from a fixed seed.
"""

from __future__ import annotations

import numpy as np
import pytest

from callout.core.meaning import Meaning
from callout.grammar.scope import Scope
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.engine import SAMPLE_RATE_HZ
from callout.speech.sphinx import SphinxEngine
from callout.station.data import load_language

SCOPE = Scope(frozenset({"83", "91", "206"}))


@pytest.fixture(scope="module")
def engine():
    language = load_language("en")
    made = SphinxEngine(language.pronunciations)
    made.prepare(language.spoken_in(SCOPE))
    return made


def spoken(words):
    pause = np.zeros(SAMPLE_RATE_HZ // 2, np.int16)
    return np.concatenate([pause, Voice(VoiceSettings("en-us")).say(words), pause])


def test_a_callout_is_heard(engine):
    (heard,) = engine.hear(spoken("tree eighty three, diameter twenty four point six"))
    assert Meaning("reading", "83", heard.meanings[0].value) in heard.meanings
    assert str(heard.meanings[0].value) == "24.6"


def test_the_same_sound_is_heard_alike_whatever_came_before(engine):
    """Replay and verify hear sounds in another order than they were spoken in."""
    sound = spoken("tree ninety one, thirty point five")
    first = engine.hear(sound)
    loud = np.random.RandomState(3).normal(0, 9000, 2 * SAMPLE_RATE_HZ).astype(np.int16)
    for other in (loud, sound // 30, spoken("confirm")):
        engine.hear(other)
        assert engine.hear(sound) == first
    language = load_language("en")
    fresh = SphinxEngine(language.pronunciations)
    fresh.prepare(language.spoken_in(SCOPE))
    assert fresh.hear(sound) == first != ()


def test_how_loud_it_was_said_hardly_matters(engine):
    sound = spoken("tree two hundred six, eighteen point three")
    (usual,), (soft,) = engine.hear(sound), engine.hear(sound // 20)
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


def test_words_are_timed_in_the_sound_as_it_was_given(engine):
    """With a second more silence before it, every word stands a second later."""
    sound = spoken("tree eighty three, diameter twenty four point six")
    later = np.concatenate([np.zeros(SAMPLE_RATE_HZ, np.int16), sound])
    first, second = engine.timed(sound), engine.timed(later)
    assert [item.word for item in first] == [item.word for item in second] != []
    assert first[0].start_s > 0.4
    for one, other in zip(first, second, strict=True):
        assert other.start_s - one.start_s == pytest.approx(1.0, abs=0.03)
    assert all(0 <= item.confidence <= 1 for item in first)
