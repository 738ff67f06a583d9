"""Journals from before growth was learnt from the plot are replayed by the checks of their time.

The cases are that time's own tests, which were worked by the census rule (R. Condit and co-workers,
from public code: SD 0.006214 d + 0.9036 mm); the two were compared on 20000 random sizes besides.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from session_tools import Talk, survey, tree

from callout.core.checking import checks
from callout.core.model import PastMeasurement, Tree
from callout.core.units import Unit

IN, CM, MM = Unit.INCH, Unit.CENTIMETRE, Unit.MILLIMETRE
THEN, NOW = date(2019, 6, 1), date(2024, 6, 1)


def named(value: str, former: str, unit: Unit = CM, **more: object) -> list[str]:
    past = Tree("K2", "83", "beech", (PastMeasurement(THEN, Decimal(former), unit),))
    found = checks.against_history_first(
        Decimal(value),
        unit,
        NOW,
        past,
        checks.FirstLimits(),
        **more,  # type: ignore[arg-type]
    )
    return [warned.check for warned in found]


@pytest.mark.parametrize(
    ("value", "former", "unit", "told"),
    [
        ("294.4645", "300", MM, []),
        ("294.4644", "300", MM, ["not a growth"]),
        ("24.6", "25.0", IN, ["not a growth"]),
        ("24.7", "25.0", IN, []),
        ("875", "500", MM, []),
        ("876", "500", MM, ["implausible jump"]),
        ("61.2", "33.0", CM, []),
        ("94.2", "30.0", CM, ["wrong side"]),
        ("9.8", "25.0", CM, ["wrong unit"]),
        ("246", "24.5", IN, ["slipped decimal"]),
        ("60.4", "16.1", CM, ["sounds alike"]),
        ("42.6", "24.3", CM, ["swapped digits"]),
        ("34.6", "24.3", CM, ["neighbouring digit"]),
    ],
)
def test_as_then(value, former, unit, told):
    assert named(value, former, unit) == told


def test_the_tree_before_as_then():
    assert named("31.0", "24.3", just_before=Decimal("31.0")) == ["tree before"]


def test_a_tree_s_own_rate_counts_after_three_years():
    past = tuple(
        PastMeasurement(on, Decimal(size), CM)
        for on, size in ((date(2009, 6, 1), "28.0"), (THEN, "30.0"))
    )
    grown = Tree("K2", "83", "beech", past)
    for value, told in (("34.0", []), ("40.3", ["neighbouring digit"])):
        found = checks.against_history_first(Decimal(value), CM, NOW, grown, checks.FirstLimits())
        assert [one.check for one in found] == told


def test_no_past_no_warning():
    new = Tree("K2", "83")
    assert checks.against_history_first(Decimal(9), CM, NOW, new, checks.FirstLimits()) == ()


def test_a_replay_goes_by_them_and_a_yes_that_did_then_does():
    """33.0 to 61.2 in five years was not questioned; today it is, and takes another word."""
    rules = checks.Rules(walk=False)
    about = survey(tree("83", "33.0"), rules=rules)
    assert Talk(about).read("83", "61.2").endswith("Accept?")
    earlier = survey(tree("83", "33.0"), rules=replace(rules, first=checks.FirstLimits()))
    then = Talk(earlier)
    then.read("83", "61.2")
    then.hear("confirm")
    assert then.saved.warnings == ()
