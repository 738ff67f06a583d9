"""Checks against the worked values of the census rule (R. Condit and co-workers; from public

code, a secondary transcription): SD 0.006214 d + 0.9036 mm; reject at 4 SD, or 75 mm a year.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core import checks
from callout.core.model import PastMeasurement, Reading, Tree
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


@pytest.mark.parametrize(
    ("diameter", "sd", "reject_at"), [("300", "2.7678", "288.9288"), ("100", "1.525", "93.9")]
)
def test_worked_values(diameter, sd, reject_at):
    assert checks.measurement_sd_mm(Decimal(diameter)) == Decimal(sd)
    assert says(reject_at, diameter, MM).endswith("more than a tape can err")
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
    assert fired("311.0713", "300", MM, next_day) == ["implausible jump"]


@pytest.mark.parametrize(
    ("value", "former", "unit", "told"),
    [
        ("94.2", "30.0", CM, "girth"),  # the linear side of the tape: pi times (common practice)
        ("78.4", "24.9", IN, "girth"),
        ("9.5", "30.0", CM, "a diameter read as girth"),  # divided by pi once too often
        ("63.5", "25.0", IN, "centimetres"),  # 25.0 in = 63.5 cm
        ("9.8", "25.0", CM, "inches"),  # 25.0 cm = 9.84 in
        ("246", "24.5", IN, "decimal point"),
        ("2.5", "24.6", IN, "decimal point"),
    ],
)
def test_wrong_side_unit_and_point(value, former, unit, told):
    (warned,) = checks.against_history(Decimal(value), unit, NOW, tree(former, unit))
    assert warned.check == "scale or unit"
    assert told in warned.says
    assert warned.look


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
