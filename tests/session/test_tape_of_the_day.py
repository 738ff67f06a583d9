"""A side or a unit of the tape that is not the plot's: asked about once, told at every tree."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard
from callout.core.meaning import Meaning
from callout.core.units import Scale, Unit

GIRTH = {"scale": Scale.GIRTH}
INCHES = {"unit": Unit.INCH}
ASKED = {"scale": "you said girth", "unit": "you said in"}


def talk(**rules: object) -> Talk:
    return Talk(survey(*(tree(str(n)) for n in range(1, 9)), rules=Rules(walk=False, **rules)))


def first(**called: object) -> tuple[Talk, str]:
    one = talk()
    assert "Accept?" in one.read("1", "30.0", **called)
    one.hear("accept")
    return one, next(ASKED[name] for name in called)


@pytest.mark.parametrize("called", [GIRTH, INCHES])
def test_the_first_is_stopped_and_the_next_alike_is_told_and_not_asked(called):
    one, asked = first(**called)
    said = one.read("2", "40.0", **called)
    assert asked not in said
    assert said.endswith("Confirm?")
    assert "40.0" in said, "the number called"
    assert str(one.memory.pending.draft.value) in said, "and the one kept"
    one.hear("confirm")
    assert (one.saved.tag, one.saved.raw, one.saved.warnings) == ("2", Decimal("40.0"), ())
    assert one.saved.raw_scale == called.get("scale", Scale.DIAMETER).value
    assert one.saved.raw_unit is called.get("unit", Unit.CENTIMETRE)
    assert asked not in one.read("3", "41.0", **called)


@pytest.mark.parametrize("called", [GIRTH, INCHES])
def test_a_plain_yes_does_not_take_the_first(called):
    one = talk()
    one.read("1", "30.0", **called)
    assert one.hear("confirm").startswith("Not saved yet")
    assert not one.memory.saved


@pytest.mark.parametrize("called", [GIRTH, INCHES])
def test_one_called_as_the_plot_is_kept_brings_the_question_back(called):
    one, asked = first(**called)
    one.save("2", "30.0")
    assert asked in one.read("3", "30.0", **called)


@pytest.mark.parametrize("called", [GIRTH, INCHES])
def test_what_was_taken_back_or_refused_has_settled_nothing(called):
    one, asked = first(**called)
    one.undo()
    assert asked in one.read("2", "30.0", **called)
    other = talk()
    other.read("1", "30.0", **called)
    other.hear("reject")
    assert asked in other.read("2", "30.0", **called)


def test_one_settles_nothing_for_the_other():
    one, _ = first(**GIRTH)
    assert "you said in" in one.read("2", "10.0", **INCHES)
    two, _ = first(**INCHES)
    assert "you said girth" in two.read("2", "30.0", **GIRTH)


def test_another_person_and_another_day_are_asked():
    one, asked = first(**GIRTH)
    one.open("K2", "A.B.")
    assert asked in one.read("2", "40.0", **GIRTH)
    two, _ = first(**GIRTH)
    said = Heard(20, "2026-06-03T09:15:00+02:00", "voice", "", (
        Meaning("reading", "2", Decimal(40), scale=Scale.GIRTH),))  # fmt: skip
    two.take(said)
    assert asked in two.said


def test_a_tree_without_a_size_between_is_no_answer():
    one, asked = first(**GIRTH)
    one.hear("status", tag="2", status="missing")
    one.hear("confirm")
    assert asked in one.read("3", "40.0", **GIRTH)


def test_a_press_and_a_call_do_not_settle_it_for_each_other():
    def press(one: Talk, tag: str) -> str:
        meaning = Meaning("press", tag, Decimal("12.0"), Unit.INCH)
        one.take(Heard(len(one.events) + 20, one.events[0].at, "tape", "", (meaning,)))
        return one.said

    one, asked = first(**INCHES)
    assert asked in press(one, "2")
    one.hear("accept")
    assert asked not in press(one, "3")
    one.hear("confirm")
    assert asked in one.read("4", "12.0", **INCHES)


def test_entries_of_the_first_edition_ask_at_every_tree():
    """They were answered by an accept each; asked once, a replay would not save them alike."""
    one = talk(edition=1)
    one.read("1", "30.0", **INCHES)
    one.hear("accept")
    assert "you said in" in one.read("2", "31.0", **INCHES)


@pytest.mark.parametrize(
    ("setting", "height", "taken"),
    [
        ({}, "3.1", False),
        ({}, "3", True),
        ({}, "0.1", True),
        ({}, "0.09", False),
        ({"highest_m": Decimal(6)}, "5.5", True),
        ({"highest_m": Decimal(6)}, "6.1", False),
        ({"lowest_m": Decimal("0.05")}, "0.06", True),
        ({"highest_m": Decimal(2)}, "2.5", False),
    ],
)
def test_the_reach_is_the_plots(setting, height, taken):
    rules = Rules(walk=False)
    one = Talk(survey(tree("1"), rules=replace(rules, limits=replace(rules.limits, **setting))))
    one.read("1", "30.0")
    said = one.hear("height", height_m=Decimal(height))
    assert ("out of reach" not in said) is taken
    assert one.memory.pending.draft.height_m == (Decimal(height) if taken else None)
