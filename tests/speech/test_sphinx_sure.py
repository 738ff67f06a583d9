"""Confidence from scores, and what is cut of an utterance; all values here are invented."""

from __future__ import annotations

import numpy as np
import pytest

from callout.speech.sphinx_sound import FRAME, speech_of
from callout.speech.sphinx_sure import Segment, fit_of, word_confidence

PHONES = [Segment("SIL", 0, 9, -50.0), Segment("AA", 10, 29, -400.0), Segment("S", 30, 49, -200.0)]


def test_each_word_is_held_against_the_phones_of_its_time():
    fit = fit_of([Segment("one", 10, 29, -600.0), Segment("two", 30, 39, -300.0)], PHONES)
    assert fit.mean_lack == pytest.approx((200 + 200) / 30)
    assert fit.worst_lack == pytest.approx(20.0)
    assert (fit.shortest, fit.total, fit.words) == (10, 30, 2)


def test_worse_scores_are_less_sure():
    scores = (-600.0, -1500.0, -4000.0)
    fits = [fit_of([Segment("one", 10, 49, score)], PHONES).confidence for score in scores]
    assert fits == sorted(fits, reverse=True)
    assert fits[0] > 0.5 > fits[-1]
    alone = [word_confidence(Segment("one", 10, 49, score), PHONES) for score in scores]
    assert alone == sorted(alone, reverse=True)


def test_a_word_drawn_out_over_seconds_is_no_speech():
    phones = [Segment("AA", 0, 299, 0.0)]
    assert fit_of([Segment("oh", 0, 39, -200.0)], phones).confidence > 0.5
    assert fit_of([Segment("oh", 0, 299, -1500.0)], phones).confidence < 0.01


def test_words_past_the_last_phone_are_scored_all_the_same():
    assert fit_of([Segment("one", 60, 79, -100.0)], PHONES).mean_lack == pytest.approx(5.0)


def test_silence_is_cut_but_for_a_margin():
    quiet = np.zeros(16_000, np.int16)
    tone = (8000 * np.sin(np.arange(8000) * 0.2)).astype(np.int16)
    cut = speech_of(np.concatenate([quiet, tone, quiet]))
    assert cut.from_s == pytest.approx(0.8)
    assert abs(len(cut.samples) - (8000 + 2 * 3200)) <= FRAME


def test_the_same_samples_give_the_same_cut():
    sound = np.random.RandomState(2).normal(0, 500, 20_000).astype(np.int16)
    assert np.array_equal(speech_of(sound).samples, speech_of(sound.copy()).samples)


@pytest.mark.parametrize("length", [0, 1, FRAME - 1, FRAME])
def test_sounds_of_hardly_any_length_pass(length):
    assert len(speech_of(np.full(length, 1000, np.int16)).samples) == length


def test_full_scale_stays_within_sixteen_bits():
    loud = np.where(np.arange(16_000) % 40 < 20, 32767, -32768).astype(np.int16)
    assert speech_of(loud).samples.dtype == np.int16
    assert int(np.sign(speech_of(loud).samples[5])) == 1
