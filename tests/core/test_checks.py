"""Checks against the worked values of the census rule (R. Condit and co-workers; from public

code, a secondary transcription): SD 0.006214 d + 0.9036 mm; reject at 4 SD, or 75 mm a year.
"""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from decimal import Decimal
from pathlib import Path

import in_english
import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.checking import checks, checks_size
from callout.core.model import PastMeasurement, Plot, PlotSettings, Reading, Tree, Warned
from callout.core.units import Unit

IN, CM, MM = Unit.INCH, Unit.CENTIMETRE, Unit.MILLIMETRE
THEN, NOW = date(2019, 6, 1), date(2024, 6, 1)  # invented visits, five years apart


def tree(value: str, unit: Unit = CM, on: date = THEN, tag: str = "83") -> Tree:
    return Tree("K2", tag, "beech", (PastMeasurement(on, Decimal(value), unit),))


def plot(*trees: Tree, unit: Unit = CM, **more: object) -> Plot:
    settings = PlotSettings("K2", unit=unit, **more)  # type: ignore[arg-type]
    return Plot(settings, {item.tag: item for item in trees})


def found(
    value: str, former: str, unit: Unit = CM, on: date = NOW, **more: object
) -> tuple[Warned, ...]:
    """What is said of a size, in the unit of its plot, where nothing but one visit is known."""
    past, size = tree(former, unit), Decimal(value)
    grad = Decimal("0.0001") if unit is MM else Decimal("0.1")
    site = plot(past, unit=unit, graduation=grad)
    return checks.against_history(site, past, size, size, on, **more)  # type: ignore[arg-type]


def fired(value: str, former: str, unit: Unit = CM, on: date = NOW) -> list[str]:
    return [warned.check for warned in found(value, former, unit, on)]


def says(value: str, former: str, unit: Unit = CM, on: date = NOW) -> str:
    (warned,) = found(value, former, unit, on)
    return in_english.part(warned.says)


@pytest.mark.parametrize(
    ("diameter", "sd", "reject_at"), [("300", "2.7678", "288.9288"), ("100", "1.525", "93.9")]
)
def test_worked_values(diameter, sd, reject_at):
    assert checks.measurement_sd_mm(Decimal(diameter)) == Decimal(sd)
    assert says(reject_at, diameter, MM).endswith("too much for the tape alone")
    above = str(Decimal(reject_at) + Decimal("0.0001"))
    assert fired(above, diameter, MM) == ["shrunk"]
    assert "too much for the tape alone" not in says(above, diameter, MM)


def test_shrinking_within_the_tape_s_error_is_quiet():
    """3.6 SD of 300 mm are 9.96408 mm (computed): 2.5 SD of the difference of two."""
    assert fired("290.0360", "300", MM) == []
    assert fired("290.0359", "300", MM) == ["shrunk"]


def test_down_point_seven_in_inches():
    """3.6 SD of 25.0 in (635 mm) are 17.458 mm; 0.7 in are 17.78 mm (computed)."""
    assert says("24.3", "25.0", IN) == "that is down 0.7 in 5 years"
    assert fired("24.4", "25.0", IN) == []


def test_growth_of_75_mm_a_year():
    """Whatever was usual: 1827 days of 365.25 a year, 375.15 mm (computed)."""
    assert (NOW - THEN).days == 1827
    wide = checks.Limits(usual_growth_mm_a_year=Decimal(500))
    allowed = Decimal(75) * 1827 / Decimal("365.25")
    assert found(str(500 + int(allowed)), "500", MM, limits=wide) == ()
    (warned,) = found(str(500 + int(allowed) + 1), "500", MM, limits=wide)
    assert (warned.check, in_english.part(warned.says)) == ("too fast", "that is up 376 in 5 years")


def test_where_nothing_is_known_a_general_bound_holds():
    """12 mm a year: from 33.0 to 61.2 cm in five years was seen to pass, and is questioned."""
    assert fired("38.9", "33.0") == []
    assert fired("39.9", "33.0") == ["too fast"]
    assert says("61.2", "33.0").startswith("that is up 28.2 in 5 years")


def test_two_visits_in_one_season_differ_by_error_alone():
    """3 SD of the difference of two measurements of 300 mm are 11.74 mm (computed)."""
    next_day = date(2019, 6, 2)
    assert fired("308", "300", MM, next_day) == []
    assert fired("312.1", "300", MM, next_day) != []


@pytest.mark.parametrize(
    ("earlier", "later", "told"),
    [
        (date(2019, 6, 1), date(2024, 5, 20), "5 years"),
        (date(2023, 6, 1), date(2024, 6, 1), "1 year"),
        (date(2022, 12, 1), date(2024, 6, 1), "18 months"),
        (date(2023, 12, 1), date(2024, 6, 1), "6 months"),
        (date(2024, 5, 1), date(2024, 6, 1), "1 month"),
        (date(2024, 5, 20), date(2024, 6, 1), "12 days"),
        (date(2024, 6, 1), date(2024, 6, 1), "0 days"),
    ],
)
def test_time_in_words(earlier, later, told):
    assert in_english.part(checks_size.time_told(earlier, later)) == told


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
        ("42.6", "24.3", CM, "swapped digits", "that is up 18.3 in 5 years, two digits look"),
        ("25.2", "51.9", CM, "swapped digits", "swapped"),
        ("34.6", "24.3", CM, "neighbouring digit", "one off"),
        ("14.6", "24.3", CM, "neighbouring digit", "one off"),
    ],
)
def test_slips(value, former, unit, check, told):
    (warned,) = found(value, former, unit)
    assert warned.check == check
    assert told in in_english.part(warned.says)
    assert warned.look


def test_a_slip_is_undone_in_the_figures_that_were_called():
    """In a girth plot 83.6 was called for 38.6: 26.6 cm where 12.3 is expected (computed)."""
    past = tree("12.0")
    girth = plot(past)
    (warned,) = checks.against_history(girth, past, Decimal("26.6"), Decimal("83.6"), NOW)
    assert warned.check == "swapped digits"


def test_the_value_of_the_tree_before():
    """Invented: 31.0 was saved for the tree before; this one had 24.3, then 30.8."""
    before = Decimal("31.0")
    (warned,) = found("31.0", "24.3", just_before=before)
    assert warned.check == "tree before"
    assert found("31.0", "30.8", just_before=before) == (), "as likely as any other figure"


def test_limits_are_settable():
    wide = checks.Limits(shrink_sd=Decimal(5), usual_growth_mm_a_year=Decimal(40))
    assert found("24.3", "25.0", IN, limits=wide) == (), "17.78 mm, 5 SD are 24.2465 (computed)"
    assert found("34.6", "24.3", limits=wide) == (), "103 mm in five years, 200 are usual"
    tight = checks.Limits(growth_mm_a_year=Decimal(1))
    assert found("25.9", "24.3", limits=tight)


def test_species():
    plot = Plot(PlotSettings("K2"), {"83": tree("24")})
    assert checks.species_not_in_plot("Beech", plot) is None
    assert checks.species_not_in_plot("red oak", plot).check == "species not in plot"
    assert checks.species_not_in_plot("", plot) is None
    nameless = Plot(PlotSettings("K2"), {"1": Tree("K2", "1")})
    assert checks.species_not_in_plot("red oak", nameless) is None


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
    """25.0 in are 63.5 cm; down 1.9 cm is more than 3.6 SD, 17.458 mm (computed)."""
    past = tree("25.0", IN)
    site = plot(past)
    assert checks.against_history(site, past, Decimal("63.9"), Decimal("63.9"), NOW) == ()
    (warned,) = checks.against_history(site, past, Decimal("61.6"), Decimal("61.6"), NOW)
    assert (warned.check, in_english.part(warned.says)) == ("shrunk", "that is down 1.9 in 5 years")


def test_no_history_no_warning():
    new = Tree("K2", "83")
    assert checks.against_history(plot(new), new, Decimal(24), Decimal(24), NOW) == ()


def test_tags():
    trees = {"83": tree("24")}
    assert checks.unknown_tag("83", trees, is_new=False) is None
    assert checks.unknown_tag("84", trees, is_new=True) is None
    assert checks.unknown_tag("84", trees, is_new=False).check == "unknown tag"
    assert checks.unknown_tag("83", trees, is_new=True).check == "tag in use"


def test_measured_before_says_the_day():
    earlier = Reading(3, "2024-06-01T10:00:00+00:00", "K2", "83", value=Decimal("24.6"))
    assert checks.measured_before(None, "2024-06-01") is None
    assert (
        in_english.part(checks.measured_before(earlier, "2024-06-01").says) == "already 24.6 today"
    )
    assert (
        in_english.part(checks.measured_before(earlier, "2024-06-02").says)
        == "already 24.6 on 2024-06-01"
    )
    assert in_english.part(checks.measured_before(earlier, "2024-06-01", blind=True).says) == (
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
    warned = found(str(value), str(former), unit, on)
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
    assert f"{checks.shown(Decimal(amount)):f}" == told


def test_a_lost_point_is_no_swap_that_begins_with_nothing():
    """301 for 30.1 (invented): no person calls 031."""
    assert fired("301", "30.1") == ["slipped decimal"]
    assert fired("0.5", "5.0") == ["slipped decimal"]
