"""Two engines as one, with engines that hear what the test says. Callouts and voices: invented."""

from __future__ import annotations

import in_english
import numpy as np
import pytest

from callout.grammar.automaton import Automaton
from callout.grammar.scope import Scope
from callout.speech.engine import Candidate, Samples, candidate_of
from callout.speech.pair import PairEngine
from callout.station.data import load_language
from callout.station.deciding import sure

LANGUAGE = load_language("en")
SOUND = np.ones(1600, dtype=np.int16)
SIXTEEN = "tree twelve diameter sixteen"
SIXTY = "tree twelve diameter sixty"


class _Hears:
    """An engine that hears the same words whatever is said."""

    model = "test"

    def __init__(self, words: str, confidence: float, lacks: tuple[str, ...] = ()) -> None:
        self.name, self._words = "test", words
        self._confidence, self._lacks = confidence, lacks
        self._spoken: Automaton | None = None

    def prepare(self, spoken: Automaton) -> None:
        self._spoken = spoken

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        if not self._words or self._spoken is None:
            return ()
        return (candidate_of(self._spoken, self._words.split(), self._confidence),)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        return self._lacks


def _pair(first: _Hears, second: _Hears) -> PairEngine:
    pair = PairEngine(first, second)
    pair.prepare(LANGUAGE.spoken)
    return pair


def test_what_both_hear_alike_is_taken_where_the_first_is_sure_of_it() -> None:
    """Agreement lifts no doubt: two engines can err alike."""
    (trusted,) = _pair(_Hears(SIXTEEN, 0.6), _Hears(SIXTEEN, 0.4)).hear(SOUND)
    taken = sure(trusted, Scope())
    assert taken.problem is None
    assert str(taken.meanings[0].value) == "16"
    (doubted,) = _pair(_Hears(SIXTEEN, 0.3), _Hears(SIXTEEN, 0.99)).hear(SOUND)
    assert in_english.part(sure(doubted, Scope()).problem) == "not sure what was said: say it again"


@pytest.mark.parametrize("confidence", [0.1, 0.99])
def test_where_they_differ_the_station_asks_which(confidence: float) -> None:
    """However sure each of them is."""
    (heard,) = _pair(_Hears(SIXTEEN, confidence), _Hears(SIXTY, confidence)).hear(SOUND)
    asked = sure(heard, Scope())
    assert in_english.part(asked.problem) == "could be 1 6, or 6 0: say it again, digit by digit"


def test_a_second_that_hears_nothing_leaves_the_first_ones_doubt() -> None:
    (doubted,) = _pair(_Hears(SIXTEEN, 0.3), _Hears("", 0.0)).hear(SOUND)
    (trusted,) = _pair(_Hears(SIXTEEN, 0.8), _Hears("", 0.0)).hear(SOUND)
    assert in_english.part(sure(doubted, Scope()).problem) == "not sure what was said: say it again"
    assert sure(trusted, Scope()).problem is None


def test_what_only_the_second_hears_is_no_callout() -> None:
    assert _pair(_Hears("", 0.0), _Hears(SIXTEEN, 0.9)).hear(SOUND) == ()


def test_a_word_the_first_can_never_hear_is_the_seconds_to_hear() -> None:
    """Here the word is "sixteen", as a species' name would be for the closed engine."""
    deaf = _Hears("", 0.0, lacks=("sixteen",))
    pair = _pair(deaf, _Hears(SIXTEEN, 0.9))
    (heard,) = pair.hear(SOUND)
    assert heard.words == SIXTEEN
    assert pair.unknown_words(LANGUAGE.spoken) == ()
    sure_of_other = _Hears(SIXTY, 0.9, lacks=("sixteen",))
    (asked,) = _pair(sure_of_other, _Hears(SIXTEEN, 0.9)).hear(SOUND)
    assert sure(asked, Scope()).problem is not None


def _doubted(words: str, confidence: float = 0.3) -> Candidate:
    """Heard unsurely, yet much likelier right than not."""
    found = candidate_of(LANGUAGE.spoken, words.split(), confidence)
    return Candidate(found.words, found.meanings, confidence, found.meanings)


def test_a_doubtful_reading_may_be_echoed_and_a_doubtful_command_not_be_carried_out() -> None:
    reading = sure(_doubted(SIXTEEN), Scope())
    assert reading.problem is None and str(reading.meanings[0].value) == "16"
    for command in ("confirm", "accept", "undo", "no"):
        assert sure(_doubted(command), Scope()).problem is not None, command


def test_while_something_waits_a_doubt_with_a_no_in_it_is_a_no() -> None:
    both = _doubted("note")
    no = candidate_of(LANGUAGE.spoken, ["no"], 0.3).meanings
    doubted = Candidate("note", (*both.meanings, *no), 0.3)
    assert in_english.part(sure(doubted, Scope()).problem) == "could be note, or no: say it again"
    denied = sure(doubted, Scope(), waits=True)
    assert denied.problem is None
    assert [meaning.kind for meaning in denied.meanings] == ["reject"]
    undo = sure(_doubted("undo"), Scope(), waits=True)
    assert undo.problem is not None, "no part of it was a no"


def test_a_doubtful_reading_that_does_not_fit_the_plot_is_asked_about() -> None:
    assert sure(_doubted(SIXTEEN), Scope(tags=frozenset({"20"}))).problem is not None
    assert sure(_doubted(SIXTEEN), Scope(tags=frozenset({"12"}))).problem is None


def test_a_pair_passes_on_what_is_likely_only_where_both_hear_it() -> None:
    class Doubts(_Hears):
        def hear(self, samples: Samples) -> tuple[Candidate, ...]:
            return (_doubted(self._words),)

    (alike,) = _pair(Doubts(SIXTEEN, 0.3), _Hears(SIXTEEN, 0.9)).hear(SOUND)
    assert alike.likely == alike.meanings
    (apart,) = _pair(Doubts(SIXTEEN, 0.3), _Hears(SIXTY, 0.9)).hear(SOUND)
    assert apart.likely == ()


def test_one_doubtful_engine_names_what_differs() -> None:
    """A rival that fits the plot no less is named; three things that may have been said are not."""
    both = _Hears(SIXTEEN, 0.3)
    both.prepare(LANGUAGE.spoken)
    (first,) = both.hear(SOUND)
    rival = candidate_of(LANGUAGE.spoken, ["tree", "twenty", "diameter", "sixteen"], 0.3)
    doubted = Candidate(first.words, (*first.meanings, *rival.meanings), 0.3)
    assert in_english.part(sure(doubted, Scope()).problem) == (
        "could be tree 1 2, or tree 2 0: say it again, digit by digit"
    )
