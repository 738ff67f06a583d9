"""What the station makes of what an engine heard unsurely. Callouts: invented."""

from __future__ import annotations

import in_english

from callout.grammar.scope import Scope
from callout.speech.engine import Candidate, candidate_of
from callout.station.data import load_language
from callout.station.deciding import sure

LANGUAGE = load_language("en")
SIXTEEN = "tree twelve diameter sixteen"
SIXTY = "tree twelve diameter sixty"


def _heard(words: str, confidence: float) -> Candidate:
    return candidate_of(LANGUAGE.spoken, words.split(), confidence)


def test_what_is_heard_surely_is_taken_and_else_not() -> None:
    taken = sure(_heard(SIXTEEN, 0.6), Scope())
    assert taken.problem is None
    assert str(taken.meanings[0].value) == "16"
    doubted = sure(_heard(SIXTEEN, 0.3), Scope())
    assert in_english.part(doubted.problem) == "not sure what was said: say it again"


def test_of_two_that_may_have_been_said_the_station_asks_which() -> None:
    one, other = _heard(SIXTEEN, 0.3), _heard(SIXTY, 0.3)
    asked = sure(Candidate(one.words, (*one.meanings, *other.meanings), 0.25), Scope())
    assert in_english.part(asked.problem) == "could be 1 6, or 6 0: say it again, digit by digit"


def _doubted(words: str, confidence: float = 0.3) -> Candidate:
    """Heard unsurely, yet much likelier right than not."""
    found = _heard(words, confidence)
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


def test_one_doubtful_engine_names_what_differs() -> None:
    """A rival that fits the plot no less is named; three things that may have been said are not."""
    first = _heard(SIXTEEN, 0.3)
    rival = candidate_of(LANGUAGE.spoken, ["tree", "twenty", "diameter", "sixteen"], 0.3)
    doubted = Candidate(first.words, (*first.meanings, *rival.meanings), 0.3)
    assert in_english.part(sure(doubted, Scope()).problem) == (
        "could be tree 1 2, or tree 2 0: say it again, digit by digit"
    )
