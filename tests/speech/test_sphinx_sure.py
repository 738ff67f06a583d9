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


def test_soft_ends_of_words_are_kept():
    """30 dB below the loudest frame is still speech: the s of "six" is that soft."""
    tone = 8000 * np.sin(np.arange(8000) * 0.2)
    soft = 8000 * 10 ** (-28 / 20) * np.sin(np.arange(8000) * 0.9)
    sound = np.concatenate([np.zeros(16_000), tone, soft, np.zeros(16_000)]).astype(np.int16)
    cut = speech_of(sound)
    assert cut.from_s == pytest.approx(0.8)
    assert len(cut.samples) >= 16_000 + 2 * 3200 - FRAME


@pytest.mark.parametrize("length", [0, 1, FRAME - 1, FRAME])
def test_sounds_of_hardly_any_length_pass(length):
    assert len(speech_of(np.full(length, 1000, np.int16)).samples) == length
