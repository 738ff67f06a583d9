"""A plot's limits to the very figure: what can be heard of sizes and tags, told by plain rules.

A little grammar of our own, figure by figure, so that every number can be tried. An inch is 2.54 cm
(international yard and pound agreement, 1959). Tags and limits are invented.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from callout.core.meaning import Meaning
from callout.core.units import Unit
from callout.grammar.automaton import Automaton
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import parse_jsgf
from callout.grammar.scope import Scope, narrowed_to

FIGURES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
LITTLE = compile_grammar(
    parse_jsgf(
        "#JSGF V1.0 UTF-8 en;\ngrammar invented;\n"
        + "<d> = " + " | ".join(f"{word} {{{n}}}" for n, word in enumerate(FIGURES)) + ";\n"
        + """
        <number> = <d> [<d>] [<d>] [<d>];
        <unit> = inches {@unit:in} | centimetres {@unit:cm} | millimetres {@unit:mm};
        <size> = {@size} <number> [(point {.} | over {~}) <d> [<d>]];
        <sizes> = [<size> wait {@redo}] <size> [<unit>];
        <tag> = {@tag} [<number> no {@redo}] <number>;
        public <callout> = tree <tag> size <sizes> {@kind:reading} | tree <tag> {@kind:tree}
            | size <sizes> {@kind:size} | new {@new} <number> size <sizes> {@kind:new} | yes;
        """
    ),
    "callout",
)  # fmt: skip
TAGS = frozenset({"8", "83", "840", "12"})


def spelt(number: object) -> str:
    return " ".join("point" if sign == "." else FIGURES[int(sign)] for sign in str(number))


def hears(automaton: Automaton, words: str) -> bool:
    states = {automaton.start}
    for word in words.split():
        states = {
            target for state in states for _, _, target in automaton.leaving[state].get(word, ())
        }
    return bool(states & automaton.finals)


def limited(largest: str, unit: Unit | None = None, **more: object) -> Automaton:
    return narrowed_to(LITTLE, Scope(TAGS, Decimal(1), Decimal(largest), unit, **more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("largest", "most"),
    [("9", 9), ("60", 60), ("60.9", 60), ("99", 99), ("100", 100), ("199.9", 199), ("998", 998),
     ("999", 999), ("5000", 999)],
)  # fmt: skip
def test_every_whole_size_up_to_the_limit_and_none_beyond(largest: str, most: int) -> None:
    """Up to three figures are listened for, whatever the limit."""
    narrow = limited(largest)
    heard = [size for size in range(0, 1200) if hears(narrow, f"size {spelt(size)}")]
    assert heard == list(range(0, most + 1))
    decimals = [size for size in range(0, 1200) if hears(narrow, f"size {spelt(size)} point nine")]
    assert decimals == heard, "cut at whole units"


TO_MM = {"inches": Decimal("25.4"), "centimetres": Decimal(10), "millimetres": Decimal(1)}
OF_UNIT = {Unit.INCH: "inches", Unit.CENTIMETRE: "centimetres", Unit.MILLIMETRE: "millimetres"}


@pytest.mark.parametrize("said", TO_MM)
@pytest.mark.parametrize(
    ("largest", "unit"),
    [("60", Unit.CENTIMETRE), ("1", Unit.CENTIMETRE), ("31", Unit.INCH), ("145", Unit.MILLIMETRE)],
)
def test_each_unit_has_its_own_limit(largest: str, unit: Unit, said: str) -> None:
    """With its unit said, a size is heard up to the limit in that unit; else in the plot's."""
    narrow = limited(largest, unit)
    most = int(Decimal(largest) * TO_MM[OF_UNIT[unit]] / TO_MM[said])
    for size in {*range(0, 32), *range(50, 70), *range(140, 150), *range(225, 245),
                 *range(590, 610), *range(780, 795), 998, 999}:  # fmt: skip
        for part in ("", " point five", " point five zero"):
            words = f"size {spelt(size)}{part}"
            assert hears(narrow, f"{words} {said}") == (size <= min(most, 999)), (size, said)
            assert hears(narrow, words) == (size <= int(largest)), size


def test_without_a_unit_of_the_plot_units_move_nothing() -> None:
    narrow = limited("60")
    for unit in TO_MM:
        assert hears(narrow, f"size six zero {unit}")
        assert not hears(narrow, f"size six one {unit}")


@pytest.mark.parametrize("words", ["size zero six zero", "size zero zero nine", "size zero"])
def test_leading_zeros_count_for_nothing(words: str) -> None:
    assert hears(limited("60"), words)
    assert not hears(limited("60"), "size zero six one")


def test_a_fourth_figure_is_never_heard() -> None:
    assert hears(LITTLE, "size zero zero zero nine")
    assert not hears(limited("60"), "size zero zero zero nine")
    assert hears(limited("999"), "size nine nine nine point nine")
    assert not hears(limited("5000"), "size one zero zero zero point nine")


def test_the_point_that_is_not_said_is_a_setting() -> None:
    allowed, refused = limited("60"), limited("60", implied_point=False)
    assert hears(allowed, "size two four over six") and hears(
        allowed, "size zero two four over six"
    )
    assert not hears(refused, "size two four over six")
    assert not hears(refused, "size zero two four over six")
    assert hears(refused, "size two four point six")


def test_a_tag_is_one_of_the_plot_s_whole() -> None:
    narrow = limited("60")
    heard = [tag for tag in range(0, 1000) if hears(narrow, f"tree {spelt(tag)}")]
    assert heard == [8, 12, 83, 840]
    heard = [tag for tag in range(0, 1000) if hears(narrow, f"tree {spelt(tag)} size nine")]
    assert heard == [8, 12, 83, 840]
    free = narrowed_to(LITTLE, Scope(None))
    assert all(hears(free, f"tree {spelt(tag)}") for tag in range(0, 1000))


def test_a_new_tree_has_any_tag_and_a_size_of_the_plot() -> None:
    narrow = limited("60")
    for tag in (8, 83, 84, 999):
        assert hears(narrow, f"new {spelt(tag)} size six zero")
        assert not hears(narrow, f"new {spelt(tag)} size six one")


def test_what_is_taken_back_must_be_sayable_too() -> None:
    """A known limit; and what was said before does not add to what is said after."""
    narrow = limited("60")
    assert hears(narrow, "tree eight four no eight three size nine")
    assert not hears(narrow, "tree nine no eight three size nine")
    assert not hears(narrow, "tree eight no four zero size nine")
    assert hears(narrow, "size five nine wait six zero")
    assert not hears(narrow, "size five nine wait six one")
    assert not hears(narrow, "size six one wait five nine")
    assert hears(narrow, "size one two point five wait one two")


def test_what_has_neither_tag_nor_size_is_always_heard() -> None:
    assert hears(limited("60"), "yes")
    assert hears(narrowed_to(LITTLE, Scope(frozenset())), "yes")
    assert not hears(narrowed_to(LITTLE, Scope(frozenset())), "tree eight")


# ---- what fits ----


@pytest.mark.parametrize(
    ("value", "unit", "fits"),
    [
        ("2.0", None, True), ("1.9", None, False), ("60", None, True), ("60.1", None, False),
        ("600", Unit.MILLIMETRE, True), ("601", Unit.MILLIMETRE, False),
        ("20", Unit.MILLIMETRE, True), ("19", Unit.MILLIMETRE, False),
        ("23.6", Unit.INCH, True), ("23.7", Unit.INCH, False), ("60", Unit.CENTIMETRE, True),
    ],
)  # fmt: skip
def test_the_limits_themselves_fit(value: str, unit: Unit | None, fits: bool) -> None:
    scope = Scope(TAGS, Decimal("2.0"), Decimal(60), Unit.CENTIMETRE)
    meaning = Meaning("reading", "83", Decimal(value), unit)
    assert scope.fits(meaning) == scope.size_fits(meaning) == fits


@pytest.mark.parametrize(
    ("value", "fits"), [("0.1", True), ("0.09", False), ("200", True), ("200.1", False)]
)
def test_where_no_plot_says_otherwise(value: str, fits: bool) -> None:
    """A millimetre to two metres; any tag; a point may be left unsaid."""
    assert Scope().fits(Meaning("reading", "83", Decimal(value), implied=True)) == fits


def test_a_size_without_its_point_fits_where_that_is_allowed() -> None:
    meaning = Meaning("reading", "83", Decimal("24.6"), implied=True)
    assert Scope(TAGS).fits(meaning)
    assert not Scope(TAGS, implied_point=False).fits(meaning)
    assert Scope(TAGS, implied_point=False).fits(Meaning("reading", "83", Decimal("24.6")))


def test_tags_fit_where_they_are_the_plot_s_and_new_ones_where_they_are_not() -> None:
    scope = Scope(TAGS)
    for kind, tag, fits in (
        ("tree", "83", True), ("tree", "84", False), ("new", "83", False), ("new", "84", True),
        ("confirm", None, True), ("new", None, True),
    ):  # fmt: skip
        assert scope.fits(Meaning(kind, tag)) == fits, (kind, tag)
        assert Scope(None).fits(Meaning(kind, tag))
