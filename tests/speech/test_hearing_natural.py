"""The benchmark on people: what a recording is for, who is in which fold, what counts as wrong.

Sounds and speakers are invented; an engine is played by a list of answers.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

pytest.importorskip("scipy")
from benchmarks.hearing import engines, natural, natural_heard
from benchmarks.hearing.sets import SPEAKERS, Spoken, telephone
from callout.core.errors import OperatorError
from callout.grammar.automaton import Automaton
from callout.speech.engine import Candidate, Samples, candidate_of

SILENCE = np.zeros(1600, np.int16)


class Parrot:
    """Says the next of its answers, words and confidence, whatever it is given."""

    name = model = "parrot"

    def __init__(self, *told: tuple[str, float]) -> None:
        self._told = list(told)

    def prepare(self, spoken: Automaton) -> None:
        self._spoken = spoken

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        words, confidence = self._told.pop(0)
        return (candidate_of(self._spoken, words.split(), confidence),) if words else ()


def heard(kind: str, said: str, told: str, confidence: float = 0.9) -> natural_heard.Answer:
    spoken = [Spoken(SILENCE, tuple(said.split()), "census/one")]
    (answer,) = natural_heard.answers(Parrot((told, confidence)), kind, spoken)
    return answer


@pytest.mark.parametrize(
    ("corpus", "words", "kind"),
    [
        ("census", "four oh seven", "digits"),
        ("accents", "three one", "digits, non-native"),
        ("census", "fifty one fifteen", "numbers"),
        ("census", "three thousand and two", "numbers"),
        ("census", "no", "no"),
        ("census", "stop", "letters and other words"),
        ("census", "rubout k w three", "letters and other words"),
        ("accents", "nobody likes the rain", "sentences, non-native"),
    ],
)
def test_words_tell_what_a_recording_is_for(corpus: str, words: str, kind: str) -> None:
    assert natural.kind_of(corpus, tuple(words.split())) == kind


def test_a_corpus_is_read_and_its_people_are_named(tmp_path: Path) -> None:
    (tmp_path / "census" / "ab").mkdir(parents=True)
    soundfile.write(tmp_path / "census" / "ab" / "1.flac", np.zeros(4000), 8000)
    table = "file\tspeaker\twords\nab/1.flac\tab\tone Two six\n"
    (tmp_path / "census" / "words.tsv").write_text(table)
    found = natural.people(tmp_path)
    assert list(found) == ["digits"]
    (one,) = found["digits"]
    assert (one.words, one.voice, len(one.samples)) == (("one", "two", "six"), "census/ab", 8000)
    assert natural.people(tmp_path / "elsewhere") == {}


def test_folds_follow_from_the_name_alone_and_are_of_like_size() -> None:
    folds = [natural.fold_of(f"census/{number}") for number in range(1000)]
    assert set(folds) == set(range(natural.FOLDS))
    assert min(map(folds.count, range(natural.FOLDS))) > 120
    assert natural.fold_of("census/fash") == natural.fold_of("census/fash")


def test_everybody_is_heard_by_the_engine_of_their_own_fold() -> None:
    said = [Spoken(SILENCE, ("one", "two", "six"), f"census/{number}") for number in range(30)]
    parrots = {fold: Parrot(*[("one two six", fold / 10)] * 30) for fold in range(natural.FOLDS)}
    found = list(natural_heard.by_folds(parrots, "digits", said))
    assert sorted(one.voice for one in found) == sorted(one.voice for one in said)
    assert all(one.confidence == natural.fold_of(one.voice) / 10 for one in found)
    assert len({one.confidence for one in found}) == natural.FOLDS


def test_each_person_of_single_digits_is_left_out_by_another_head() -> None:
    """Two of the three then teach the head that judges the third; nobody is judged by allison."""
    assert len({natural.fold_of(person) for person in SPEAKERS}) == len(SPEAKERS)
    assert {natural.fold_of(person) for person in SPEAKERS} <= set(range(natural.FOLDS))
    assert natural.fold_of("allison") not in range(natural.FOLDS)


def test_a_telephone_leaves_nothing_above_four_kilohertz() -> None:
    hiss = np.random.default_rng(1).normal(size=16_000) * 3000
    narrow = telephone(Spoken(hiss.astype(np.int16), (), "nobody")).samples
    power = np.abs(np.fft.rfft(narrow)) ** 2
    assert len(narrow) == len(hiss)
    assert power[4300:].max() < 1e-3 * power[:3500].mean()


def test_every_fold_has_its_own_engine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = {"named": lambda heads, left_out: Parrot((left_out, 0.5))}
    monkeypatch.setattr(engines, "ENGINES", made)
    own = engines.for_folds("named", tmp_path)
    assert sorted(own) == list(range(natural.FOLDS))
    assert len(set(own.values())) == natural.FOLDS


@pytest.mark.parametrize("left_out", ["3", "nicolas"])
def test_nobody_is_judged_by_the_shipped_head(tmp_path: Path, left_out: str) -> None:
    with pytest.raises(OperatorError, match="has learnt from these people"):
        engines.closed(tmp_path, left_out)


@pytest.mark.parametrize(
    ("told", "right"),
    [("two oh six", True), ("two zero six", True), ("two six", False), ("two zero five", False)],
)
def test_zero_and_oh_mean_the_same_and_nothing_else_does(told: str, right: bool) -> None:
    for kind in ("digits", "numbers"):
        assert heard(kind, "two zero six", told).right is right


def test_number_words_in_another_order_are_another_meaning() -> None:
    assert heard("numbers", "fifty one ten", "fifty one ten").right
    assert not heard("numbers", "fifty one ten", "fifty ten one").right


def test_what_is_taken_and_not_said_is_wrong_and_what_is_asked_is_not() -> None:
    taken = heard("digits", "one two six", "one two five")
    assert (taken.right, taken.taken, taken.wrong) == (False, True, True)
    asked = heard("digits", "one two six", "one two five", confidence=0.2)
    assert (asked.right, asked.taken, asked.wrong) == (False, False, False)
    assert not heard("no", "no", "no", confidence=0.2).taken, (
        "a doubtful command is not carried out"
    )


def test_another_command_is_wrong_and_any_callout_is_where_none_was_said() -> None:
    assert heard("no", "no", "yes").wrong
    assert not heard("no", "no", "no").wrong
    none = heard("sentences, non-native", "he said yes to her", "yes")
    assert none.taken
    assert none.wrong
    assert not heard("sentences, non-native", "he said yes to her", "").taken


def test_the_table_counts_and_people_are_told_apart() -> None:
    said = [Spoken(SILENCE, ("one", "two", "six"), f"census/{who}") for who in "aab"]
    told = (("one two six", 0.9), ("one two five", 0.9), ("one two six", 0.2))
    found = list(natural_heard.answers(Parrot(*told), "digits", said))
    row = natural_heard.table({("digits", "clean"): found}).splitlines()[-1]
    assert row == "| digits | clean | 3 | 2 | 66.7 % | 33.3 % | 0 | 1 |"
    assert natural_heard.by_person(found) == "2 people: 1 heard right in all, 1 in half or fewer"
