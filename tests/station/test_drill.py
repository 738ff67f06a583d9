"""Cards of numbers that sound alike; that they do is common practice to guard against."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest

from callout.core.damm import checks_out
from callout.core.events import Heard
from callout.core.meaning import Meaning
from callout.core.saying import as_is
from callout.core.units import Unit
from callout.grammar.parser import parse_words
from callout.grammar.scope import Scope
from callout.practice.drill import Misheard, drilled_tags, one_by_one, said_one_by_one, slips_told
from callout.practice.practice import Card, Tried, drilled, misheard, misheard_told
from callout.station.data import load_language

ENGLISH = load_language("en")


def alike(one: str, other: str) -> bool:
    """Told anew: the same but for 1x and x0 at the end, or one 5 for 9, or one 0 for 4."""
    if len(one) != len(other):
        return False
    teen = one[-2:-1] == "1" and other[-2:] == f"{one[-1]}0" and one[:-2] == other[:-2]
    differ = [{a, b} for a, b in zip(one, other, strict=True) if a != b]
    return teen or (len(differ) == 1 and differ[0] in ({"5", "9"}, {"0", "4"}))


@pytest.mark.parametrize("number", range(30))
def test_nearly_every_tag_stands_beside_one_that_sounds_like_it(number):
    tags = drilled_tags(random.Random(number), 13, checked=False)
    assert len(set(tags)) == 13
    alone = [tag for tag in tags if not any(alike(tag, two) or alike(two, tag) for two in tags)]
    assert len(alone) <= 1, "an odd number of tags leaves one half of a pair"


def test_tags_with_a_check_digit_leave_no_two_one_figure_apart():
    for number in range(20):
        tags = drilled_tags(random.Random(number), 40, checked=True)
        assert all(checks_out(tag) for tag in tags)
        for one in tags:
            for other in tags:
                if one != other and len(one) == len(other):
                    assert sum(a != b for a, b in zip(one, other, strict=True)) >= 2


@pytest.mark.parametrize("unit", [Unit.INCH, Unit.CENTIMETRE])
@pytest.mark.parametrize("checked", [False, True])
def test_what_a_card_tells_to_say_means_the_card_and_is_one_by_one(unit, checked):
    for number in range(15):
        trees, cards = drilled(number, 20, unit, checked=checked)
        scope = Scope(frozenset(tree.tag for tree in trees), unit=unit)
        assert [tree.tag for tree in trees] == [card.tag for card in cards]
        for tree, card in zip(trees, cards, strict=True):
            said = f"tree {one_by_one(card.tag)}, {one_by_one(str(card.size))}"
            assert said_one_by_one(said)
            found = parse_words(ENGLISH.full, said, scope).meanings
            assert (card.tag, card.size) in [(one.tag, one.value) for one in found]
            assert tree.last is not None and tree.last.value < card.size


@pytest.mark.parametrize(
    ("what", "called", "heard", "told"),
    [
        ("tag", "15", "50", "tag 15 heard as 50"),
        ("tag", "105", "109", "tag 105 heard as 109 (five as nine)"),
        ("tag", "304", "344", "tag 304 heard as 344 (oh as four)"),
        ("size", "30.9", "30.5", "size 30.9 heard as 30.5 (nine as five)"),
        ("size", "30.9", "309", "size 30.9 heard as 309"),
        ("size", "30.9", "3009", "size 30.9 heard as 3009"),
    ],
)
def test_what_was_taken_for_what_is_told(what, called, heard, told):
    assert Misheard(what, called, heard).told == told


def test_the_commonest_confusion_comes_first():
    one, other = Misheard("tag", "15", "50"), Misheard("tag", "105", "109")
    assert slips_told([one, other, other]) == (
        "tag 105 heard as 109 (five as nine), 2 times; tag 15 heard as 50"
    )
    assert slips_told([]) == ""


@pytest.mark.parametrize("words", ["tree fifteen", "one hundred", "tree double two", "ninety"])
def test_numerals_are_not_one_by_one(words):
    assert not said_one_by_one(words)


def heard(*meanings: Meaning, problem: str | None = None, source: str = "voice") -> Heard:
    return Heard(2, "2026-06-02T09:15:00+02:00", source, "words", meanings, problem)


def test_what_was_asked_about_is_in_doubt_and_not_heard_wrongly():
    card = Card("30", Decimal("16.0"))
    right = Meaning("reading", "30", Decimal("16.0"))
    other = Meaning("reading", "30", Decimal("16.2"))
    asked = heard(
        right, other, problem=as_is("could be 16.0, or 16.2: say it again, digit by digit")
    )
    assert misheard(asked, card) == [Misheard("size", "16.0", "16.2", True)]
    taken = heard(Meaning("reading", "70", Decimal("16.2")))
    assert [item.told for item in misheard(taken, card)] == [
        "tag 30 heard as 70 (three as seven)", "size 16.0 heard as 16.2 (oh as two)"
    ]  # fmt: skip
    assert misheard(heard(right), card) == []
    assert misheard(heard(other, source="tape"), card) == []
    tried = Tried(card, misheard=[*misheard(asked, card), *misheard(taken, card)])
    assert misheard_told([tried], by_figures=False) == (
        "Heard wrongly: size 16.0 heard as 16.2 (oh as two); tag 30 heard as 70 (three as seven). "
        "In doubt: size 16.0 asked about, or 16.2."
    )
