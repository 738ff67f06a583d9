"""Checks against the worked values of the census rule (R. Condit and co-workers; from public

code, a secondary transcription): SD 0.006214 d + 0.9036 mm; reject at 4 SD, or 75 mm a year.
"""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core import checks, checks_size
from callout.core.model import PastMeasurement, Plot, PlotSettings, Reading, Tree
from callout.core.units import Unit

IN, CM, MM = Unit.INCH, Unit.CENTIMETRE, Unit.MILLIMETRE
THEN, NOW = date(2019, 6, 1), date(2024, 6, 1)  # invented visits, five years apart


def tree(value: str, unit: Unit = CM, on: date = THEN) -> Tree:
    return Tree("K2", "83", "beech", (PastMeasurement(on, Decimal(value), unit),))


def fired(value: str, former: str, unit: Unit = CM, on: date = NOW) -> list[str]:
    return [w.check for w in checks.against_history(Decimal(value), unit, on, tree(former, unit))]


def says(value: str, former: str, unit: Unit = CM) -> str:
    (warned,) = checks.against_history(Decimal(value), unit, NOW, tree(former, unit))
    return warned.says


def compared(value: str, former: str, on: date = NOW) -> checks.Compared:
    return checks.Compared(Decimal(value), MM, on, tree(former, MM).last)


@pytest.mark.parametrize(
    ("diameter", "sd", "reject_at"), [("300", "2.7678", "288.9288"), ("100", "1.525", "93.9")]
)
def test_worked_values(diameter, sd, reject_at):
    assert checks.measurement_sd_mm(Decimal(diameter)) == Decimal(sd)
    rejected = checks_size.not_a_growth(compared(reject_at, diameter))
    assert rejected.says.endswith("more than a tape can err")
    assert fired(reject_at, diameter, MM), "a slip may explain it, but it is flagged"
    above = str(Decimal(reject_at) + Decimal("0.0001"))
    assert fired(above, diameter, MM) == ["not a growth"]
    assert "more than a tape can err" not in says(above, diameter, MM)


def test_shrinking_within_the_tape_s_error_is_quiet():
    """Two SD of 300 mm are 5.5356 mm (computed)."""
    assert fired("294.4645", "300", MM) == []
    assert fired("294.4644", "300", MM) == ["not a growth"]


def test_down_point_four_in_inches():
    """Two SD of 25.0 in (635 mm) are 9.699 mm; 0.4 in are 10.16 mm (computed)."""
    assert says("24.6", "25.0", IN) == "that is down 0.4"
    assert fired("24.7", "25.0", IN) == []


def test_growth_of_75_mm_a_year():
    """Five years of 365.25 days less a day or so: 1827 days, 375.15 mm (computed)."""
    assert (NOW - THEN).days == 1827
    allowed = Decimal(75) * 1827 / Decimal("365.25")
    assert fired(str(500 + int(allowed)), "500", MM) == []
    assert fired(str(500 + int(allowed) + 1), "500", MM) == ["implausible jump"]


def test_two_visits_in_one_season_differ_by_error_alone():
    """4 SD of 300 mm are 11.0712 mm (computed), more than a day's growth."""
    next_day = date(2019, 6, 2)
    assert fired("311.0712", "300", MM, next_day) == []
    jump = checks_size.implausible_jump(compared("311.0713", "300", next_day))
    assert jump.check == "implausible jump"
    assert fired("311.0713", "300", MM, next_day)


@pytest.mark.parametrize(
    ("value", "former", "unit", "check", "told"),
    [
        # The linear side of the tape reads pi times the diameter (common practice).
        ("94.2", "30.0", CM, "wrong side", "girth"),
        ("78.4", "24.9", IN, "wrong side", "girth"),
        ("9.5", "30.0", CM, "wrong side", "a diameter read as girth"),
        ("31.4", "9.6", CM, "wrong side", "girth"),  # a small tree: girth is "growth" of 44 mm/year
        ("63.5", "25.0", IN, "wrong unit", "centimetres"),  # 25.0 in = 63.5 cm
        ("9.8", "25.0", CM, "wrong unit", "inches"),  # 25.0 cm = 9.84 in
        ("246", "24.5", IN, "slipped decimal", "decimal point"),
        ("2.5", "24.6", IN, "slipped decimal", "decimal point"),
        # Sounds, digits and marks: invented values.
        ("60.4", "16.1", CM, "sounds alike", "sixteen or sixty"),
        ("16.4", "60.1", CM, "sounds alike", "sixteen or sixty"),
        ("113.2", "130.0", CM, "sounds alike", "sixteen or sixty"),
        ("42.6", "24.3", CM, "swapped digits", "swapped"),
        ("25.2", "51.9", CM, "swapped digits", "swapped"),
        ("34.6", "24.3", CM, "neighbouring digit", "one off"),
        ("14.6", "24.3", CM, "neighbouring digit", "one off"),
    ],
)
def test_slips(value, former, unit, check, told):
    (warned,) = checks.against_history(Decimal(value), unit, NOW, tree(former, unit))
    assert warned.check == check
    assert told in warned.says
    assert warned.look


def test_the_value_of_the_tree_before():
    """Invented: 31.0 was saved for the tree before; this one had 24.3, then 30.8."""
    before = Decimal("31.0")
    odd, good = tree("24.3"), tree("30.8")
    (warned,) = checks.against_history(before, CM, NOW, odd, just_before=before)
    assert warned.check == "tree before"
    assert checks.against_history(before, CM, NOW, good, just_before=before) == ()


def test_limits_are_settable():
    wide = checks.Limits(shrink_sd=Decimal(4), usual_growth_mm_a_year=Decimal(40))
    down = checks.against_history(Decimal("24.6"), IN, NOW, tree("25.0", IN), wide)
    assert down == (), "0.4 in are 10.16 mm, 4 SD of 25.0 in are 19.398 mm (computed)"
    up = checks.against_history(Decimal("34.6"), CM, NOW, tree("24.3"), wide)
    assert up == (), "103 mm in five years, 200 mm are usual at this limit"
    tight = checks.Limits(growth_mm_a_year=Decimal(1))
    assert checks.against_history(Decimal("25.9"), CM, NOW, tree("24.3"), tight)


@pytest.mark.parametrize(
    ("first", "on", "usual"),
    [  # Invented: 300 mm in 2019; twice the tree's own rate and 3 mm a year more.
        ("280", date(2009, 6, 1), "7.0"),  # 20 mm in 3652 days: 2.0003 mm a year
        ("310", date(2009, 6, 1), "3.0"),  # it shrank: no growth
        ("299", date(2018, 6, 1), "12.0"),  # a year says nothing: the rate for all trees
        ("10", date(2016, 6, 1), "75.0"),  # never above the census rule's
    ],
)
def test_usual_growth_is_the_tree_s_own(first, on, usual):
    last = PastMeasurement(THEN, Decimal(300), MM)
    early = PastMeasurement(on, Decimal(first), MM)
    of = checks.Compared(Decimal(310), MM, NOW, last, first=early)
    assert of.usual_rate_mm.quantize(Decimal("0.1")) == Decimal(usual)


def test_species():
    trees = {"83": tree("24")}
    assert checks.species_not_in_plot("Beech", trees) is None
    assert checks.species_not_in_plot("red oak", trees).check == "species not in plot"
    assert checks.species_not_in_plot("", trees) is None
    assert checks.species_not_in_plot("red oak", {"1": Tree("K2", "1")}) is None


def test_beyond_species():
    """Beech: 90 cm is the largest of mature large trees (FHWA-RD-97-028, table 2); 1.5 times."""
    rules = checks.Rules(largest_cm={"beech": Decimal(90)})
    assert checks.beyond_species(Decimal(135), CM, "Beech", rules) is None
    assert checks.beyond_species(Decimal("135.1"), CM, "Beech", rules).check == "beyond species"
    assert checks.beyond_species(Decimal("53.2"), IN, "beech", rules).check == "beyond species"
    assert checks.beyond_species(Decimal(500), CM, "unheard of", rules) is None


def with_columns(**extra: str) -> Tree:
    return Tree("K2", "83", extra=extra)


@pytest.mark.parametrize(
    ("before", "status", "fires"),
    [
        ("dead_standing", "live", True),
        ("Dead Standing", "live", True),
        ("cut", "live", True),
        ("dead-down", "dead_standing", True),
        ("dead_standing", "dead_down", False),
        ("dead", "dead_standing", False),
        ("missing", "live", False),
        ("", "live", False),
    ],
)
def test_dead_then_alive(before, status, fires):
    assert (checks.dead_then_alive(with_columns(status=before), status) is not None) == fires


@pytest.mark.parametrize(
    ("before", "now", "fires"),
    [  # 5 % of 1.60 m are 8 cm (census rule, from public code)
        ("1.60", "1.68", False),
        ("1.60", "1.69", True),
        ("1.60", None, True),
        ("1.35", None, False),
        ("", "1.60", False),
        ("high", None, True),
    ],
)
def test_the_height_of_measurement(before, now, fires):
    height = Decimal(now) if now else None
    settings = PlotSettings("K2")
    found = checks.height_moved(
        height, with_columns(measured_at_m=before), settings, checks.Limits()
    )
    assert (found is not None) == fires


def test_another_breast_height_standard():
    """1.37 m in the US, 1.30 m elsewhere (common practice)."""
    old = Tree("K2", "1", extra={"breast_height_m": "1.37"})
    new = Tree("K2", "2", extra={"breast_height_m": "1.30"})
    settings = PlotSettings("K2")
    assert checks.other_standard(old, settings).check == "breast height"
    assert checks.other_standard(new, settings) is None
    assert checks.standard_changed(Plot(settings, {"1": old})) is not None
    assert checks.standard_changed(Plot(settings, {"1": old, "2": new})) is None


def test_every_check_has_its_row_and_its_limits():
    names = [item.name for item in checks.TABLE]
    assert len(set(names)) == len(names)
    named_limits = {limit for item in checks.TABLE for limit in item.limits}
    assert named_limits == {item.name for item in fields(checks.Limits)}
    text = (Path(__file__).parents[2] / "docs" / "checks.md").read_text(encoding="utf-8")
    for item in checks.TABLE:
        assert f"| {item.name} |" in text
        assert item.source in text


def test_history_in_another_unit_is_compared_as_a_length():
    past = tree("25.0", IN)
    assert checks.against_history(Decimal("63.9"), CM, NOW, past) == ()
    (warned,) = checks.against_history(Decimal("62.0"), CM, NOW, past)
    assert warned.check == "not a growth"
    assert warned.says.startswith("that is down 1.5")


def test_the_last_measurement_counts():
    old, new = PastMeasurement(THEN, Decimal(40), CM), PastMeasurement(NOW, Decimal(30), CM)
    grown = Tree("K2", "83", "beech", (old, new))
    assert checks.against_history(Decimal("30.4"), CM, date(2026, 6, 1), grown) == ()


def test_no_history_no_warning():
    assert checks.against_history(Decimal(24), CM, NOW, Tree("K2", "83")) == ()


def test_tags():
    trees = {"83": tree("24")}
    assert checks.unknown_tag("83", trees, is_new=False) is None
    assert checks.unknown_tag("84", trees, is_new=True) is None
    assert checks.unknown_tag("84", trees, is_new=False).check == "unknown tag"
    assert checks.unknown_tag("83", trees, is_new=True).check == "tag in use"


def test_measured_before_says_the_day():
    earlier = Reading(3, "2024-06-01T10:00:00+00:00", "K2", "83", value=Decimal("24.6"))
    assert checks.measured_before(None, "2024-06-01") is None
    assert checks.measured_before(earlier, "2024-06-01").says == "already 24.6 today"
    assert checks.measured_before(earlier, "2024-06-02").says == "already 24.6 on 2024-06-01"
    assert checks.measured_before(earlier, "2024-06-01", blind=True).says == (
        "already measured today"
    )


@pytest.mark.parametrize(
    ("days", "years"), [(0, "0.00273785"), (1, "0.00273785"), (1461, "4"), (36525, "100")]
)
def test_years(days, years):
    later = date.fromordinal(THEN.toordinal() + days)
    assert checks.years_between(THEN, later).quantize(Decimal("0.00000001")) == Decimal(years)


sizes = st.decimals(min_value=Decimal("0.1"), max_value=400, places=1)


@given(sizes, sizes, st.sampled_from([IN, CM]), st.dates(date(2000, 1, 1), date(2030, 1, 1)))
def test_a_check_warns_at_most_once_and_shrinking_by_4_sd_never_passes(value, former, unit, on):
    past = tree(str(former), unit)
    warned = checks.against_history(value, unit, on, past)
    assert len(warned) <= 1
    factor = Decimal("25.4") if unit is IN else Decimal(10)
    before, after = former * factor, value * factor
    if after <= before - 4 * (Decimal("0.006214") * before + Decimal("0.9036")):
        assert warned


@given(sizes, sizes)
def test_the_change_is_exact(value, former):
    last = PastMeasurement(THEN, former, IN)
    assert checks.change_since(value, IN, last) == value - former
    assert checks.change_since(value, CM, last) == value - former * Decimal("2.54")


@pytest.mark.parametrize(
    ("amount", "told"), [("0.40", "0.4"), ("10", "10"), ("0.125", "0.12"), ("100.00", "100")]
)
def test_shown(amount, told):
    assert checks.shown(Decimal(amount)) == told
