"""What makes no sense at a tree is refused before it is echoed; what the first edition did stays.

Sizes and heights are invented; the limits are ours (docs/session.md).
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard
from callout.core.meaning import Meaning
from callout.core.units import Scale, Unit

USUAL = Rules(walk=False)


@pytest.mark.parametrize(
    ("value", "more", "refused"),
    [
        ("1234567890", {}, "A size of 10 figures"),
        ("12345678901", {}, "A size of 11 figures"),
        ("1E+9", {}, "A size of 10 figures"),
        ("1E+12", {}, "A size of 13 figures"),
        ("1.234567891", {}, "A size of 10 figures"),
        ("123456789", {}, "123456789 cm"),
        ("1.23456789", {}, ""),
        ("6000.1", {}, "6000.1 cm"),
        ("0.04", {}, "0.04 cm"),
        ("0", {}, "0 cm"),
        ("24.6", {}, ""),
        ("0.04", {"unit": Unit.INCH}, ""),
        ("0.01", {"unit": Unit.INCH}, "0.01 in"),
        ("0.1", {"scale": Scale.GIRTH}, "0.1 cm"),
    ],
)
def test_a_size_that_no_tree_has_is_refused(value: str, more: dict, refused: str) -> None:
    one = Talk(survey(tree("83"), rules=USUAL))
    said = one.read("83", value, **more)
    if refused:
        assert refused in said and one.memory.pending is None, said
    else:
        assert one.memory.pending is not None, said


def test_which_stem_is_asked_once_stems_are_saved() -> None:
    one = Talk(survey(tree("83"), rules=USUAL))
    for stem, size in (("two", "12.0"), ("one", "9.0")):
        one.read("83", size, stem=stem)
        one.hear("accept")
    said = one.read("83", "12.4")
    assert one.memory.pending is None
    assert "one" in said and "two" in said and said.index("one") < said.index("two")
    assert "Confirm" in one.read("83", "9.4", stem="one") or one.memory.pending is not None


@pytest.mark.parametrize(
    ("metres", "unit", "told"),
    [
        ("1.3", None, None),
        ("0.1", None, None),
        ("3", None, None),
        # 9.84 feet are 3 m, and 0.33 feet 0.1 m.
        ("0.09", None, "0.09 metres"),
        ("3.1", None, "3.1 metres or feet"),
        ("9.84", None, "9.84 metres or feet"),
        ("9.85", None, "9.85 metres"),
        ("1.3716", Unit.FOOT, None),
        ("3.048", Unit.FOOT, "10 feet"),
        ("6.096", Unit.FOOT, "20 feet"),
    ],
)
def test_a_height_out_of_reach_is_refused_in_the_unit_that_was_said(
    metres: str, unit: Unit | None, told: str | None
) -> None:
    one = Talk(survey(tree("83"), rules=USUAL))
    one.read("83", "24.6")
    said = one.hear("height", height_m=Decimal(metres), height_unit=unit)
    assert one.memory.pending is not None
    kept = one.memory.pending.draft.height_m
    if told is None:
        assert kept == Decimal(metres).quantize(Decimal("0.01")) or kept == Decimal(metres)
        assert ("4.5 feet" in said) is (unit is Unit.FOOT)
    else:
        assert kept is None and told.removesuffix(" or feet") in said and "out of reach" in said
        assert ("or was it feet" in said) is told.endswith(" or feet"), said


@pytest.mark.parametrize("edition", [1, 2])
def test_what_is_added_to_a_reading_counts_from_when_it_was_said(edition: int) -> None:
    """In the first edition it kept the time of its size; its journals are replayed so."""
    later = "2026-06-02T09:15:40+02:00"
    one = Talk(survey(tree("83"), rules=replace(USUAL, edition=edition)))
    one.read("83", "24.6")
    one.take(Heard(9, later, "typed", "measured at", (Meaning("height", height_m=Decimal("1.4")),)))
    assert one.memory.pending is not None
    assert one.memory.pending.draft.at == (later if edition > 1 else AT)


def test_the_first_edition_refused_no_size() -> None:
    one = Talk(survey(tree("83"), rules=replace(USUAL, edition=1)))
    one.read("83", "0.04")
    assert one.memory.pending is not None
