"""Every tag 1 to 999 and every size 1.0 to 99.9, as num2words writes them and digit by digit.

With a word or comma between tag and size there is one meaning, the right one; without, the right
one is among those told, and a single meaning is never a wrong reading.
"""

from __future__ import annotations

import random
from collections import defaultdict
from decimal import Decimal
from functools import cache

import pytest
from spoken_forms import ALL_SIZES, ALL_TAGS, SEPARATORS, numerals, size_forms, tag_forms

from callout.core.meaning import Meaning, meaning_of
from callout.grammar import following
from callout.grammar.automaton import Automaton
from callout.grammar.words import tokens_of

FEW_SIZES = (Decimal("24.6"),)
FEW_TAGS = (83, 600)
SAMPLE = 6_000


def is_exactly(parsed, tag: int, size: Decimal) -> bool:
    said = [(m.kind, m.tag, m.value, m.unit, m.implied) for m in parsed.meanings]
    return parsed.problem is None and said == [("reading", str(tag), size, None, False)]


@pytest.mark.parametrize("separator", SEPARATORS)
def test_every_tag(parse, separator):
    wrong = [
        words
        for tag in ALL_TAGS
        for said in tag_forms(tag)
        for size in FEW_SIZES
        if not is_exactly(
            parse(words := f"tree {said}{separator}{next(numerals(size))}"), tag, size
        )
    ]
    assert wrong == []


@pytest.mark.parametrize("separator", SEPARATORS)
def test_every_size(parse, separator):
    wrong = [
        words
        for size in ALL_SIZES
        for said in size_forms(size)
        for tag in FEW_TAGS
        if not is_exactly(parse(words := f"tree {next(numerals(tag))}{separator}{said}"), tag, size)
    ]
    assert wrong == []


Reached = dict[int, set[tuple[str, ...]]]


class Walk:
    """The test's own little walk from some states; words that begin alike are walked once."""

    def __init__(self, automaton: Automaton, before: Reached) -> None:
        self._automaton = automaton
        self._after: dict[tuple[str, ...], Reached] = {(): before}

    def reach(self, said: tuple[str, ...]) -> Reached:
        """States after the words with what each path emitted."""
        if said not in self._after:
            after: Reached = defaultdict(set)
            for state, emitted in self.reach(said[:-1]).items():
                for _, emits, target in self._automaton.leaving[state].get(said[-1], ()):
                    after[target].update(old + emits for old in emitted)
            self._after[said] = dict(after)
        return self._after[said]


@cache
def words_of(said: str) -> tuple[str, ...]:
    return tuple(token.word for token in tokens_of(said))


@pytest.mark.parametrize("separator", SEPARATORS)
def test_the_whole_product_by_slots(english, separator):
    """All tags times all sizes, without walking each pair.

    After "tree TAG separator" every spoken form of every tag stands in one of few sets of states;
    forms in the same set go on alike, whatever tag was said. So it is enough that each tag's
    emissions hold that tag alone, and that from each set every size gives that size alone.
    """
    sets: dict[frozenset[int], tuple[str, Reached]] = {}
    alive: dict[int, bool] = {}
    first = Walk(english, {english.start: {()}})
    for tag in ALL_TAGS:
        for said in tag_forms(tag):
            reached = first.reach(words_of(f"tree {said}{separator}"))
            for state in reached.keys() - alive.keys():
                alive[state] = any_size_ends(english, state)
            reached = {state: many for state, many in reached.items() if alive[state]}
            slots = {tag_emitted(emits) for many in reached.values() for emits in many}
            assert slots == {str(tag)}, said
            sets.setdefault(frozenset(reached), (str(tag), reached))
    assert 1 <= len(sets) <= 10
    for tag_said, reached in sets.values():
        onward = Walk(english, reached)
        for size in ALL_SIZES:
            for said in size_forms(size):
                ends = onward.reach(words_of(said))
                assert endings(english, ends) == {(tag_said, size)}, said


def any_size_ends(automaton: Automaton, state: int) -> bool:
    """Whether any size completes a callout here; "one zero, no wait" stands elsewhere."""
    onward = Walk(automaton, {state: {()}})
    return any(
        automaton.finals & onward.reach(words_of(said)).keys()
        for size in ALL_SIZES
        for said in size_forms(size)
    )


def tag_emitted(emits: tuple[str, ...]) -> str:
    at = emits.index("@tag") + 1
    rest = emits[at:]
    end = next((i for i, token in enumerate(rest) if token.startswith("@")), len(rest))
    return "".join(rest[:end])


def endings(automaton: Automaton, ends: Reached) -> set[tuple[str, Decimal]]:
    found = {meaning_of(emits) for state in automaton.finals & ends.keys() for emits in ends[state]}
    return {(str(item.tag), item.value) for item in found if item is not None and item.value}


def test_without_a_separator_the_right_meaning_is_told(parse):
    chosen = random.Random(20240605)
    for _ in range(SAMPLE):
        tag, size = chosen.choice(ALL_TAGS), chosen.choice(ALL_SIZES)
        said = chosen.choice(size_forms(size))
        words = f"tree {chosen.choice(tag_forms(tag))} {said}"
        check_without_separator(parse, words, tag, size)


@pytest.mark.parametrize("tag", [20, 80, 81, 90, 100, 110, 200, 202, 220, 700, 750, 757])
def test_tags_that_can_grow_before_every_size(parse, tag):
    """Tags after which a size can be taken for more of the tag."""
    for size in ALL_SIZES[:: 1 if tag in (80, 200) else 7]:
        for said in size_forms(size):
            check_without_separator(parse, f"tree {next(numerals(tag))} {said}", tag, size)


def check_without_separator(parse, words: str, tag: int, size: Decimal) -> None:
    parsed = parse(words)
    right = [m for m in parsed.meanings if (m.kind, m.tag, m.value) == ("reading", str(tag), size)]
    if right:
        assert parsed.problem is None or len(parsed.meanings) > 1, words
        return
    # "tree seven hundred fifty" and "seven": nobody can hear where the tag ends. Then the words
    # are one numeral, a tag with no size, so the session asks for the diameter and saves nothing.
    assert size == size.to_integral_value(), words
    assert all(is_a_bare_tag(meaning) for meaning in parsed.meanings), (words, parsed)


@pytest.mark.parametrize("most", [1, 100])
def test_what_was_parsed_before_changes_nothing(english, parse, monkeypatch, most):
    """An automaton keeps the steps of earlier words; it tells the same with few or none kept."""
    chosen = random.Random(77)
    between = (*SEPARATORS, " ")
    said = []
    for _ in range(200):
        tag, size = chosen.choice(tag_forms(chosen.choice(ALL_TAGS))), chosen.choice(ALL_SIZES)
        said.append(f"tree {tag}{chosen.choice(between)}{chosen.choice(size_forms(size))}")
    before = [parse(words) for words in said]
    monkeypatch.setattr(following, "_MOST_KEPT", most)
    english.steps.clear()
    chosen.shuffle(said_again := list(enumerate(said)))
    for number, words in said_again:
        assert parse(words) == before[number], words
        assert len(english.steps) <= most
    assert sum(one.problem is None for one in before) > 100


def is_a_bare_tag(meaning: Meaning) -> bool:
    return meaning.kind == "tree" and meaning.value is None
