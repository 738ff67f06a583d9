"""Whether a whole callout could still go on: rows from memory, and every way on of random ones."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal

import pytest

from callout.core.meaning import Meaning
from callout.core.units import Unit
from callout.grammar.automaton import Automaton
from callout.grammar.going_on import goes_on
from callout.grammar.parser import meanings_of
from callout.grammar.scope import Scope
from callout.grammar.words import Heard
from callout.station.data import load_language

# Invented: trees 1 to 140, so that short tags begin longer ones; tape in centimetres.
SCOPE = Scope(frozenset(map(str, range(1, 141))), largest=Decimal(120), unit=Unit.CENTIMETRE)
CUE_WORDS = {"no", "wait", "sorry", "i", "mean", "make", "that", "correction"}


@pytest.fixture(scope="module")
def spoken() -> Automaton:
    return load_language("en", ("beech", "red oak")).spoken_in(SCOPE)


def heard(text: str) -> list[Heard]:
    return [Heard(word, word) for word in text.split()]


def more_may_come(
    spoken: Automaton, text: str, places: int = 1, units: bool = False, alike: tuple[str, ...] = ()
) -> bool:
    meaning = next(one for one in meanings_of(spoken, heard(text)) if SCOPE.fits(one))
    return goes_on(spoken, heard(text), meaning, places, units=units, alike=alike)


@pytest.mark.parametrize(
    "text",
    [
        "tree eighty three twenty four point six",
        "tree eighty three twenty four six",
        "tree twelve three point four centimetres",
        "tree twelve thirty and a half",
        "twenty four point six",
        "tree twelve missing",
        "tree twelve dead standing",
        "confirm",
        "accept",
        "skip",
        "repeat",
        "undo",
        "plot complete",
    ],
)
def test_what_is_whole(spoken: Automaton, text: str) -> None:
    assert not more_may_come(spoken, text)


@pytest.mark.parametrize(
    "text",
    [
        "tree eighty three",  # its size
        "tree eighty three twenty four",  # "point six"
        "tree eighty three twenty",  # "four"
        "twenty four",
        "tree twelve dead",  # "standing", "down"
        "no",  # "no, twenty four point eight"
        "wrong",  # "wrong tree"
        "new tree two hundred one",
        "tree twelve tag lost",  # "new tag ..."
    ],
)
def test_what_may_go_on(spoken: Automaton, text: str) -> None:
    assert more_may_come(spoken, text)


def test_a_finer_tape_waits_for_its_second_figure(spoken: Automaton) -> None:
    assert more_may_come(spoken, "tree eighty three twenty four point six", places=2)
    assert not more_may_come(spoken, "tree eighty three twenty four point six five", places=2)


def test_a_whole_graduation_waits_for_a_point(spoken: Automaton) -> None:
    assert more_may_come(spoken, "tree eighty three one hundred six", places=0)
    assert more_may_come(spoken, "tree eighty three twenty four point six", places=0)


def test_where_another_unit_is_read_one_may_follow(spoken: Automaton) -> None:
    assert more_may_come(spoken, "tree eighty three twenty four point six", units=True)
    assert not more_may_come(spoken, "tree eighty three twenty four point six inches", units=True)


def test_a_yes_may_go_on_to_accept(spoken: Automaton) -> None:
    assert more_may_come(spoken, "yes")
    assert not more_may_come(spoken, "yes", alike=("confirm", "accept"))


def test_no_way_on_makes_something_else_of_what_is_whole(spoken: Automaton) -> None:
    """Random ways through the whole automaton: each beginning of one that is called whole."""
    rng, whole = random.Random(14), 0
    for _ in range(1500):
        words = _walk(spoken, rng)
        means = meanings_of(spoken, heard(words))
        for count in range(1, len(words.split())):
            begun, rest = " ".join(words.split()[:count]), words.split()[count:]
            so_far = [one for one in meanings_of(spoken, heard(begun)) if SCOPE.fits(one)]
            if len(so_far) != 1 or goes_on(spoken, heard(begun), so_far[0], 1):
                continue
            whole += 1
            assert CUE_WORDS.intersection(rest) or all(_alike(so_far[0], one) for one in means), (
                f"{begun!r} was called whole, and {words!r} is another"
            )
    assert whole > 200


def _alike(begun: Meaning, all_of_it: Meaning) -> bool:
    """But for the unit, and figures that the tape has not."""
    same = replace(all_of_it, unit=begun.unit, value=begun.value, implied=begun.implied) == begun
    if begun.value is None or all_of_it.value is None:
        return same and begun.value == all_of_it.value
    return same and str(all_of_it.value).startswith(str(begun.value))


def _walk(spoken: Automaton, rng: random.Random) -> str:
    state, words = spoken.start, list[str]()
    while True:
        ways = spoken.ways[state]
        if not ways or (state in spoken.finals and rng.random() < 0.2):
            return " ".join(words)
        word, _, state = rng.choice(ways)
        words.append(word)
