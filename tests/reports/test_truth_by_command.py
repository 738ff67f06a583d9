"""What ``callout report`` tells of one invented site whose truth is known, plot by plot.

Each plot holds one trap that a table of tree measurements can hold. The truths follow from how the
site was made, by plain arithmetic; equations of mass are those of the named table.
"""

from __future__ import annotations

import csv
import math
import re

import pandas as pd
import pytest
from stand_frames import frame, measurement, plot_history, plots

from callout.cli.main import main
from callout.reports.exchange.datapackage import write_package
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.metadata import About
from callout.reports.stand.history import NUMBERS

near = pytest.approx
YEARS = 1827 / 365.25  # from a day of June 2015 to that of 2020
BARE = {"measured_height_m": 1.30}


def stems(plot, sizes, years, growth=0.0, first=1, **other):
    """Stems of one size and growth (a census), in June of each of ``years``."""
    unit = other.pop("unit", "cm")
    return [
        measurement(tag, f"{year}-06-10", f"{size + growth * at:.3f}", unit, plot=plot, **other)
        for tag, size in enumerate(sizes, first)
        for at, year in enumerate(years)
    ]


def cut_plot():
    rows = stems("cut", [20.0 + tag for tag in range(8)], (2015, 2020), 1.0)
    return rows + [
        measurement(tag, "2025-06-10", None, plot="cut", status="cut") for tag in range(1, 9)
    ]


INCHES = [10.0, 12.5, 14.0, 9.3, 20.1, 7.7]
# Fractions spread evenly over an inch: what rounding hides is then exactly its mean.
EVENLY = [8 + (tag + 0.5) / 10 for tag in range(40)]


def rounded_plot():
    """Rounded down to whole inches, then to the nearest; each stem grew one inch."""
    rows = []
    for tag, size in enumerate(EVENLY, 1):
        for day, value in (("2015-06-10", int(size)), ("2020-06-10", int(size + 1.5))):
            rows.append(measurement(tag, day, str(value), "in", plot="rounded"))
    return rows


DENSE = math.sqrt(24.5 * 0.1 / 10 * 40_000 / math.pi)  # ten such stems on 0.1 ha: 24.5 m2/ha


def late_plot():
    """Ten followed stems, of which two died early; an eleventh was skipped, then found dead."""
    rows = [
        measurement(11, "2010-06-10", "20.0", plot="late"),
        measurement(11, "2020-06-10", None, plot="late", status="dead down"),
    ]
    for tag in range(1, 11):
        rows += stems("late", [20.0], (2010,), first=tag)
        if tag <= 2:
            rows.append(measurement(tag, "2015-06-10", None, plot="late", status="dead down"))
        else:
            rows += stems("late", [20.0], (2015, 2020), first=tag)
    return rows


def mistyped_plot():
    rows = stems("mistyped", [20.0] * 30, (2014, 2019, 2024), 1.0)
    rows[20]["date"] = pd.Timestamp("2042-06-10")  # the third of the seventh stem: 2024
    return rows


def renamed_plot():
    rows = stems("renamed", [30.0] * 8, (2015, 2020))
    rows[1]["species"] = "Pinus strobus"
    return rows


def treated_plots():
    """Thinned after the census of 2015: growth rises by 0.4 cm an interval, else by 0.1."""
    rows = []
    for plot, before, after in (("T1", 1.0, 1.4), ("T2", 1.2, 1.6), ("C1", 1.1, 1.2),
                                ("C2", 0.9, 1.0)):  # fmt: skip
        for tag in range(1, 9):
            size = 25.0
            for year, growth in ((2010, before), (2015, after), (2020, 0)):
                rows.append(measurement(tag, f"{year}-06-10", f"{size:.1f}", plot=plot))
                size += growth
    # Two stems that grew ten times as fast are no plot's growth.
    return rows + stems("T3", [25.0, 25.0], (2010, 2015, 2020), 15.0)


def woodland_plot():
    at_breast = {"measured_height_m": 1.37}
    rows = stems("woodland", [30.0], (2020,), species="Pinus edulis", **at_breast)
    rows += stems("woodland", [30.0], (2020,), first=2, species="Juniperus virginiana", **at_breast)
    return rows + stems("woodland", [30.0], (2020,), first=3, species="woolly thing", **at_breast)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The tables by name, what the command printed, and the words of the page."""
    folder = tmp_path_factory.mktemp("site")
    moved = [{"measured_height_m": height} for height in (1.30, 1.80)]
    rows = frame(
        *cut_plot(), *stems("inch", INCHES, (2024,), unit="in"), *rounded_plot(),
        *stems("enlarged", [DENSE] * 10, (2015, 2020)),
        *stems("enlarged", [DENSE] * 15, (2020,), first=11), *late_plot(), *mistyped_plot(),
        *renamed_plot(), *stems("moved", [30.0] * 8, (2015,), **moved[0]),
        *stems("moved", [30.0] * 8, (2020,), **moved[1]), *treated_plots(), *woodland_plot(),
    )  # fmt: skip
    names = dict.fromkeys(rows["plot"])
    kinds = {"T1": "thinned", "T2": "thinned", "T3": "thinned", "C1": "control", "C2": "control"}
    inches = ("inch", "rounded")
    places = plots(
        *((name, 0.25 if name == "enlarged" else 0.1, "in" if name in inches else "cm",
           kinds.get(name, "")) for name in names)
    )  # fmt: skip
    since = plot_history(
        ("rounded", "2000-01-01", {"rounding": "down", "graduation": "1"}),
        ("rounded", "2018-01-01", {"rounding": "nearest"}),
        ("enlarged", "1990-01-01", {"area_ha": 0.10}),
        ("enlarged", "2018-05-01", {"area_ha": 0.25}),
        *((name, "2015-06-20", {"treatment": "thinned"}) for name in ("T1", "T2", "T3")),
    )
    texts = since.astype(dict.fromkeys(NUMBERS, object)).fillna("").astype(str)
    data = Dataset(rows, places, {"history": texts})
    write_package(folder / "package", data, About("site", "R.V.", "2026-01-01T00:00:00Z"))
    printed = _report(folder)
    tables = {}
    for path in (folder / "out" / "tables").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            tables[path.stem] = list(csv.DictReader(file))
    page = (folder / "out" / "index.html").read_text(encoding="utf-8")
    page = re.sub(r"<svg.*?</svg>|data:image[^\"]*", "", page, flags=re.DOTALL)
    return tables, printed, re.sub(r"<[^>]+>", " ", page)


def _report(folder):
    import contextlib
    import io

    with contextlib.redirect_stdout(io.StringIO()) as out:
        assert main(["report", str(folder / "package"), "--out", str(folder / "out")]) == 0
    return out.getvalue()


def one(table, **keys):
    found = [row for row in table if all(row[name] == text for name, text in keys.items())]
    assert len(found) == 1, found
    return found[0]


def number(row, name):
    return float(row[name]) if row[name] else math.nan


def area(*sizes):
    return sum(math.pi / 40_000 * d * d for d in sizes)


def test_where_all_was_cut_nothing_stands_and_the_headline_says_so(told):
    tables, _, page = told
    last = one(tables["carbon"], plot="cut", census="2025")
    assert [number(last, name) for name in ("carbon_t_ha", "low_t_ha", "high_t_ha")] == [0, 0, 0]
    before = one(tables["carbon"], plot="cut", census="2020")
    assert number(last, "change_kg") == near(-number(before, "carbon_kg"))
    headline = next(words for words in page.splitlines() if "cut: from 2015 to 2025" in words)
    assert "changed by −100.0 %" in headline
    assert "CO2 held in the trees changed by −" in headline


def test_an_inch_plot_tells_what_its_readings_give(told):
    feet = sum(math.pi / 576 * d * d for d in INCHES) / (0.1 / 0.40468564224)
    row = one(told[0]["summary"], plot="inch")
    assert number(row, "basal_area_ft2_acre") == near(feet)
    assert "Plots were measured at different heights (1.30 m:" in told[1]


def test_a_change_of_rounding_is_no_growth(told):
    """By the readings alone it would be 1.5 inches."""
    row = one(told[0]["growth"], plot="rounded")
    assert number(row, "diameter_cm_year") == near(2.54 / YEARS, rel=1e-6)
    low, high = number(row, "low_cm_year"), number(row, "high_cm_year")
    assert low < 2.54 / YEARS < high
    assert "Rounding changed between censuses in rounded" in told[1]


def test_figures_go_by_the_area_of_the_day(told):
    tables, printed, _ = told
    for census in ("2015", "2020"):
        row = one(tables["summary"], plot="enlarged", census=census)
        assert number(row, "basal_area_m2_ha") == near(24.5, rel=1e-3)
    rates = one(tables["rates"], plot="enlarged")
    assert (rates["recruitment_year"], number(rates, "mortality_year")) == ("", 0)
    assert "area of enlarged changed" in printed


def test_a_death_found_late_is_a_death(told):
    """By the plot's own rates it lies in the first interval: only there did stems die."""
    first, second = (
        one(told[0]["rates"], plot="late", from_census=census) for census in ("2010", "2015")
    )
    assert number(first, "died") == near(3, abs=1e-6)
    assert number(first, "mortality_year") == near(math.log(11 / 8) / (1826 / 365.25))
    assert number(second, "died") == near(0, abs=1e-6)


def test_a_mistyped_year_makes_no_census(told):
    tables, printed, _ = told
    rows = [row for row in tables["summary"] if row["plot"] == "mistyped"]
    assert [(row["census"], row["stems"]) for row in rows] == [
        ("2014", "30"), ("2019", "30"), ("2024", "30"),
    ]  # fmt: skip
    assert "mistyped 7 on 2042-06-10 (for 2024)" in printed


def test_a_tree_identified_anew_is_no_flux(told):
    tables, printed, _ = told
    row = one(tables["carbon"], plot="renamed", census="2020")
    assert number(row, "change_kg") == near(0, abs=1e-9)
    assert one(tables["reidentified"])["now"] == "Pinus strobus"
    assert "renamed 1 (Quercus rubra, now Pinus strobus)" in printed


def test_growth_at_another_height_is_told_as_none_with_its_reason(told):
    row = one(told[0]["growth"], plot="moved")
    assert (row["stems"], row["moved"], row["diameter_cm_year"]) == ("0", "8", "")
    assert "another height" in row["why"]


def test_a_treatment_begins_on_a_day_and_few_stems_are_no_plot(told):
    """Each plot's change of growth is known; three decimals hold a day more in the second years."""
    tables, _, page = told
    row = one(tables["treatment_effects"], figure="diameter_cm_year", treatment="thinned")
    assert (row["design"], row["plots"], row["control_plots"]) == ("before and after", "2", "2")
    first, second = 1826 / 365.25, YEARS
    thinned = (1.4 + 1.6) / 2 / second - (1.0 + 1.2) / 2 / first
    control = (1.2 + 1.0) / 2 / second - (1.1 + 0.9) / 2 / first
    assert number(row, "effect") == near(thinned - control)
    assert number(row, "low") <= number(row, "effect") <= number(row, "high")
    assert number(row, "freedom") == 2
    assert row["told"] in page


def test_groups_are_those_of_the_table_and_other_heights_give_no_mass(told):
    """Jenkins and others 2003, table 4: cedar/larch ln kg = -2.0336 + 2.2592 ln cm."""
    tables, printed, _ = told
    cedar = one(tables["tree_carbon"], plot="woodland", tag="2")
    assert number(cedar, "mass_kg") == near(math.exp(-2.0336 + 2.2592 * math.log(30)))
    pinyon = one(tables["left_out"], plot="woodland", tag="1")
    assert "root collar" in pinyon["why"]
    assert "root collar" in printed
    gap = one(tables["species_gaps"], plot="woodland", species="woolly thing")
    assert number(gap, "basal_area_percent") == near(100 / 3)
    assert 0 < number(gap, "carbon_low_kg") < number(gap, "carbon_high_kg")


def test_plots_of_one_census_or_few_stems_get_no_interval(told):
    row = one(told[0]["growth"], plot="T3", from_census="2010")
    assert (row["stems"], row["low_cm_year"], row["high_cm_year"]) == ("2", "", "")
    assert "fewer than 5 stems" in row["why"]


def test_the_page_tells_nothing_from_memory(told):
    assert "from memory" not in told[2]
    assert "sha256:" in told[2]
    assert "Mg C/ha" in told[2]
