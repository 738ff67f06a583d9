"""The hearing benchmark's own ground: what it calls a callout is one, what it calls none is none.

All sounds and sentences are invented.
"""

from __future__ import annotations

import random

import numpy as np
import pytest

pytest.importorskip("scipy")
from benchmarks.hearing import chatter, fronts, nothing
from benchmarks.hearing.callouts import called, draw
from benchmarks.hearing.plot import SCOPE
from callout.sound.endpoint import Endpointer
from callout.sound.frames import frames_of
from callout.station.data import load_language


@pytest.fixture(scope="module")
def automaton():
    return load_language("en").spoken_in(SCOPE)


def test_no_sentence_is_a_callout(automaton):
    rng = random.Random(1)
    said = {chatter.sentence(rng) for _ in range(600)}
    assert len(said) > 200
    assert [text for text in said if called(automaton, text.lower()) is not None] == []


@pytest.mark.parametrize("walked", [False, True])
def test_every_callout_drawn_has_one_meaning_in_the_plot(automaton, walked):
    rng = random.Random(2)
    drawn = [draw(automaton, rng, walked) for _ in range(40)]
    assert all(SCOPE.fits(one.meaning) for one in drawn)
    assert len({one.meaning for one in drawn}) > 20
    assert {"reading", "confirm"} <= {one.meaning.kind for one in drawn}


def test_what_could_be_two_things_is_not_drawn(automaton):
    assert called(automaton, "tree one hundred twenty, seven point five") is not None
    assert called(automaton, "tree one ten four") is None  # 1 and 10.4, or 110 and 4
    assert called(automaton, "tree eighty, diameter twenty") is None  # no tree 80 in the plot


@pytest.mark.parametrize("kind", ["cough", "knocks", "tones", "birds"])
def test_parts_are_alike_each_time_and_hold_sounds_that_are_cut(kind):
    part, again = nothing.make_part(kind, 0), nothing.make_part(kind, 0)
    assert np.array_equal(part.samples, again.samples)
    assert not np.array_equal(part.samples, nothing.make_part(kind, 1).samples)
    assert all(0 < begin < end <= nothing.PART_S for begin, end in part.spans)
    ears = Endpointer()
    found = [item for frame in frames_of(part.samples) for item in ears.push(frame)]
    assert len(found) > 3


@pytest.mark.parametrize("front", [f for f in fronts.FRONTS.values() if f is not None])
def test_treatments_keep_the_length_and_the_sound(front):
    time = np.arange(16_000) / 16_000
    rng = np.random.default_rng(4)
    tone = 3000 * np.sin(2 * np.pi * 700 * time) * (time > 0.4) + rng.normal(0, 20, len(time))
    treated = front(tone.astype(np.int16))
    assert (treated.dtype, len(treated)) == (np.int16, len(time))
    spectrum = np.abs(np.fft.rfft(treated[8000:].astype(float)))
    assert abs(int(spectrum.argmax()) * 2 - 700) <= 4
