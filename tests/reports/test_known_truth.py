"""Sites whose truth is known: what the report tells must be that, or say why it tells nothing.

Every site is invented; the truths follow from how it was made, by plain arithmetic.
"""

from __future__ import annotations

import math
import os

import numpy as np
import pandas as pd
import pytest
from stand_frames import frame, measurement, plot_history, plots

from callout.reports.pages.analysis import ReportSettings, analyse
from callout.reports.pages.report import _findings
from callout.reports.stand.dynamics.change import COMPONENTS
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.mass_variance import Draws
from callout.reports.stand.summary import stand_summary

near = pytest.approx
QUICK = ReportSettings(draws=Draws(draws=400))


def row(table, **keys):
    for name, value in keys.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


def area(*sizes):
    return sum(math.pi / 40_000 * d * d for d in sizes)


def grown(tag, years, size, growth, **other):
    """A stem measured in June of each of ``years``."""
    return [
        measurement(tag, f"{year}-06-{10 + tag % 10}", f"{size + growth * at:.1f}", **other)
        for at, year in enumerate(years)
    ]


# ---- all cut ----


def test_a_plot_that_was_cut_holds_nothing_and_says_so():
    rows = [item for tag in range(1, 9) for item in grown(tag, (2015, 2020), 20.0 + tag, 1.0)]
    rows += [measurement(tag, "2025-06-15", None, status="cut") for tag in range(1, 9)]
    analysis = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK)
    carbon = analysis.tables["carbon"]
    last = row(carbon, census=2025)
    assert (last["carbon_t_ha"], last["low_t_ha"], last["high_t_ha"]) == (0, 0, 0)
    before = row(carbon, census=2020)
    assert last["change_kg"] == near(-before["carbon_kg"])
    assert last["co2_t_ha_year"] == near(-before["co2_t_ha"] / row(carbon, census=2025)["years"])
    assert last["change_low_kg"] < last["change_kg"] < last["change_high_kg"] < 0
    (told,) = _findings(analysis.tables)
    assert "−100.0 %" in told
    assert "CO2 held in the trees changed by −" in told
    assert row(analysis.tables["summary"], census=2025)["basal_area_m2_ha"] == 0
    flux = row(analysis.tables["fluxes"], to_census=2025, pool="carbon_t")
    assert flux["cut"] == near(-flux["net"])


# ---- heights of measurement ----


def test_where_all_heights_agree_nothing_is_converted():
    """Inches at 1.37 m: the readings' own square feet an acre."""
    inches = [10.0, 12.5, 14.0, 9.3, 20.1, 7.7]
    rows = [
        measurement(tag, "2024-06-01", f"{size}", "in", plot="K1")
        for tag, size in enumerate(inches, start=1)
    ]
    analysis = analyse(frame(*rows), plots(("K1", 0.1, "in", "")), QUICK)
    acres = 0.1 / 0.40468564224
    feet = sum(math.pi / 576 * d * d for d in inches) / acres
    assert row(analysis.tables["summary"])["basal_area_ft2_acre"] == near(feet)
    assert analysis.tables["one_height"].empty
    assert not analysis.converted


def test_where_heights_differ_stocks_are_brought_to_one_and_growth_is_not():
    """Ten stems moved from 1.30 m to 1.37 m: no growth is told of them, and the page says so."""
    still = [item for tag in range(1, 9) for item in grown(tag, (2019, 2024), 20.0 + tag, 1.0)]
    moved = [
        measurement(tag, f"{year}-06-10", size, measured_height_m=height)
        for tag in range(21, 31)
        for year, size, height in ((2019, "30.0", 1.30), (2024, "29.7", 1.37))
    ]
    analysis = analyse(frame(*still, *moved), plots(("K2", 0.1, "cm", "")), QUICK)
    growth = row(analysis.tables["growth"])
    assert (growth["stems"], growth["moved"]) == (8, 10)
    assert growth["diameter_cm_year"] == near(0.2, rel=1e-3)
    summary = analysis.tables["summary"].set_index("census")["basal_area_m2"]
    sizes = [20.0 + tag for tag in range(1, 9)]
    assert summary[2019] == near(area(*sizes, *[30.0] * 10))
    assert summary[2024] == near(area(*[size + 1 for size in sizes], *[29.7 * 1.01] * 10))
    shown = row(analysis.tables["one_height"], census=2024)
    assert shown["change_low_percent"] < shown["change_percent"] < shown["change_high_percent"]
    assert any("10 stems in K2 were measured at another height" in one for one in analysis.cautions)


def test_a_plot_whose_height_changed_keeps_its_row_and_says_why():
    rows = [
        measurement(tag, f"{year}-06-10", "30.0", measured_height_m=height)
        for tag in range(1, 9)
        for year, height in ((2019, 1.30), (2024, 1.80))
    ]
    analysis = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK)
    growth = row(analysis.tables["growth"])
    assert (growth["stems"], growth["moved"]) == (0, 8)
    assert math.isnan(growth["diameter_cm_year"])
    assert "another height" in growth["why"]
    assert any("no growth is told there" in one for one in analysis.cautions)


# ---- rounding by date ----


def rounded_plots(rng, count, trees=60):
    """Rounded down to whole inches in 2015, to the nearest in 2020; true growth 1 in."""
    names = [f"K{at:02}" for at in range(1, count + 1)]
    rows, told = [], []
    for plot in names:
        for tag, size in enumerate(rng.uniform(8, 24, trees), start=1):
            rows.append(measurement(tag, "2015-06-01", str(int(size)), "in", plot=plot))
            rows.append(measurement(tag, "2020-05-31", str(int(size + 1 + 0.5)), "in", plot=plot))
        told += [
            (plot, "2000-01-01", {"rounding": "down", "graduation": "1"}),
            (plot, "2018-01-01", {"rounding": "nearest"}),
        ]
    places = plots(*((plot, 0.1, "in", "") for plot in names))
    return frame(*rows), places, plot_history(*told)


def test_a_change_of_rounding_is_no_growth():
    """Growth of 1 in; by the readings it would be 1.5. In every plot, and within its interval.

    ``CALLOUT_SITES=40`` makes as many plots.
    """
    count = int(os.environ.get("CALLOUT_SITES", "10"))
    rows, places, history = rounded_plots(np.random.default_rng(11), count)
    analysis = analyse(rows, places, QUICK, history=history)
    growth, carbon = analysis.tables["growth"], analysis.tables["carbon"]
    later = carbon[carbon["census"] == 2020]
    assert len(growth) == len(later) == count
    years = 1826 / 365.25
    assert np.mean(growth["diameter_cm_year"]) == near(2.54 / years, rel=0.02)
    assert (later["change_low_kg"] < later["change_kg"]).all()
    assert (later["change_kg"] < later["change_high_kg"]).all()
    (told,) = [one for one in analysis.cautions if "Rounding changed between censuses in" in one]
    assert all(plot in told for plot in places["plot"].head(8))  # names eight, counts the rest


# ---- a plot has a history ----


def enlarged_site():
    """Ten stems on 0.10 ha, 24.5 m2 a hectare; from 2018 0.25 ha with fifteen more as dense."""
    size = math.sqrt(24.5 * 0.1 / 10 * 40_000 / math.pi)
    rows = []
    for tag in range(1, 26):
        if tag <= 10:
            rows.append(measurement(tag, "2015-06-01", f"{size:.3f}"))
        rows.append(measurement(tag, "2020-06-01", f"{size:.3f}"))
    history = plot_history(
        ("K2", "1990-01-01", {"area_ha": 0.10}), ("K2", "2018-05-01", {"area_ha": 0.25})
    )
    return frame(*rows), plots(("K2", 0.25, "cm", "")), history


@pytest.fixture(scope="module")
def enlarged():
    """The site's report."""
    rows, places, history = enlarged_site()
    return analyse(rows, places, QUICK, history=history)


def test_a_plot_that_was_enlarged(enlarged):
    analysis, tables = enlarged, enlarged.tables
    summary = tables["summary"].set_index("census")["basal_area_m2_ha"]
    assert summary.tolist() == near([24.5, 24.5], rel=1e-3)
    rates = row(tables["rates"])
    assert math.isnan(rates["recruitment_year"])
    assert "area changed" in rates["why"]
    assert rates["mortality_year"] == 0
    change = row(tables["change_basal_area"])
    assert (change["ingrowth"], float(change["scope"])) == (0, near(24.5 * 0.15, rel=1e-3))
    flux = row(tables["fluxes"], pool="basal_area_m2")
    assert (flux["growth"], flux["mortality"]) == (0, 0)
    assert math.isnan(flux["net"]) and "enlarged" in flux["why"]
    (told,) = _findings(tables)
    assert "a hectare changed by 0.0 %" in told.replace("−0.0", "0.0")
    assert any("area of K2 changed" in one for one in analysis.cautions)
    carbon = row(tables["carbon"], census=2020)
    assert math.isnan(carbon["co2_t_ha_year"]) and "area changed" in carbon["why"]
    assert row(tables["carbon"], census=2015)["carbon_t_ha"] == near(carbon["carbon_t_ha"])


def test_before_the_first_day_that_is_told_an_area_is_not_known(enlarged):
    _, places, history = enlarged_site()
    facts = PlotFacts(places, history[history["area_ha"] == 0.25])
    summary = stand_summary(enlarged.stems, facts).set_index("census")
    assert math.isnan(summary["basal_area_m2_ha"][2015])
    assert summary["basal_area_m2_ha"][2020] == near(24.5, rel=1e-3)


def test_a_lowered_smallest_diameter_brings_no_recruits():
    """From 10 cm to 5 cm in 2018: ten stems of 6 cm are no recruits, two of 10.5 cm are."""
    rows = [item for tag in range(1, 21) for item in grown(tag, (2015, 2020), 20.0, 1.0)]
    rows += [measurement(tag, "2020-06-10", "6.0") for tag in range(31, 41)]
    rows += [measurement(tag, "2020-06-10", "10.5") for tag in (51, 52)]
    history = plot_history(
        ("K2", "1990-01-01", {"smallest": "10"}), ("K2", "2018-05-01", {"smallest": "5"})
    )
    tables = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK, history=history).tables
    assert row(tables["rates"])["recruits"] == 2
    change = row(tables["change_basal_area"])
    assert float(change["scope"]) == near(area(*[6.0] * 10), abs=1e-8)
    assert float(change["ingrowth"]) == near(area(10.5, 10.5), abs=1e-8)


# ---- life and death ----


def site_with_late_deaths(rng, trees=4000, rate=0.022):
    """Deaths at a constant rate; half of the stems were skipped in 2015."""
    rows = []
    dies = rng.exponential(1 / rate, trees)
    skipped = rng.random(trees) < 0.5
    for tag in range(trees):
        for at, year in enumerate((2010, 2015, 2020)):
            if year == 2015 and skipped[tag]:
                continue
            alive = dies[tag] > 5 * at
            if at and not alive and dies[tag] <= 5 * (at - 1) and not (skipped[tag] and at == 2):
                continue  # told dead before
            rows.append(
                measurement(tag, f"{year}-06-01", "20.0" if alive else None,
                            status="live" if alive else "dead standing")
            )  # fmt: skip
    return frame(*rows)


def test_deaths_found_late_are_spread_over_what_was_missed():
    """Truth: 0.022 a year in both intervals; half of all deaths of skipped stems came early."""
    rows = site_with_late_deaths(np.random.default_rng(5))
    tables = analyse(rows, plots(("K2", 40.0, "cm", "")), QUICK).tables
    rates = tables["rates"]
    assert rates["mortality_year"].tolist() == near([0.022, 0.022], rel=0.12)
    # Binomial: 1.96 sqrt(q (1 - q) / n) / (1 - q) / t with q = 1 - exp(-0.11) and n = 4000.
    half = (rates["mortality_high"] - rates["mortality_low"]) / 2
    assert half[0] == near(1.96 * math.sqrt(0.1042 * 0.8958 / 4000) / 0.8958 / 5, rel=0.1)
    assert rates["late"].sum() > 100
    died = int((rows["status"] == "dead standing").sum())
    assert rates["died"].sum() == near(died)
    change = tables["change_basal_area"]
    assert float(change["mortality"].sum()) == near(died * area(20.0), rel=1e-6)
    for _, one in change.iterrows():
        assert sum(sign * one[name] for name, sign in COMPONENTS.items()) == one["net"]


def test_one_late_death_is_shared_by_the_plots_own_rates():
    """Ten followed stems: two of ten died in the first interval, none of eight in the second.

    The late death lies in the first: only there did stems die (self-consistency, by hand).
    """
    rows = []
    for tag in range(1, 11):
        rows += grown(tag, (2010,), 20.0, 0)
        if tag <= 2:
            rows.append(measurement(tag, "2015-06-15", None, status="dead down"))
        else:
            rows += grown(tag, (2015, 2020), 20.0, 0)
    rows += [
        measurement(11, "2010-06-15", "20.0"),
        measurement(11, "2020-06-15", None, status="dead down"),
    ]
    rates = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK).tables["rates"]
    assert rates["died"].tolist() == near([3.0, 0.0], abs=1e-6)
    assert rates["at_risk"].tolist() == near([11.0, 8.0], abs=1e-6)


def test_trees_of_several_stems_die_with_their_last():
    rows = []
    for tag in range(1, 7):
        for stem in ("a", "b"):
            rows.append(measurement(tag, "2015-06-01", "20.0", stem=stem))
            dead = tag == 1 or (tag == 2 and stem == "a")
            rows.append(
                measurement(tag, "2020-06-01", None if dead else "21.0", stem=stem,
                            status="dead standing" if dead else "live")
            )  # fmt: skip
    tables = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK).tables
    stems, trees = row(tables["rates"]), row(tables["rates_trees"])
    assert (stems["at_risk"], stems["died"]) == (12, 3)
    assert (trees["at_risk"], trees["died"]) == (6, 1)
    summary = row(tables["summary"], census=2020)
    assert (summary["stems"], summary["trees"], summary["standing_dead_stems"]) == (9, 5, 3)
    assert summary["standing_dead_m2"] == near(area(20.0, 20.0, 20.0))


def test_fluxes_add_up_to_the_change():
    rows = [item for tag in range(1, 7) for item in grown(tag, (2015, 2020), 20.0 + tag, 1.0)]
    for tag, status in ((7, "dead down"), (8, "cut")):
        rows += [*grown(tag, (2015,), 30.0, 0), measurement(tag, "2020-06-18", None, status=status)]
    rows += grown(9, (2020,), 11.0, 0)
    tables = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK).tables
    for pool, scale in (("basal_area_m2", 1.0), ("carbon_t", 1e-3)):
        flux = row(tables["fluxes"], pool=pool)
        whole = flux["growth"] + flux["ingrowth"] + flux["not_followed"] + flux["scope"]
        assert whole - flux["mortality"] - flux["cut"] == near(flux["net"], rel=1e-12)
        name = "change_basal_area" if scale == 1 else "change_carbon_kg"
        net = float(row(tables[name])["net"]) * scale
        assert flux["net"] == near(net / 0.1 / flux["years"])


# ---- days and names ----


def test_a_mistyped_year_is_a_caution_and_no_census():
    rows = frame(
        *(item for tag in range(1, 31) for item in grown(tag, (2014, 2019, 2024), 20.0, 1.0))
    )
    wrong = (rows["tag"] == "7") & (rows["date"].dt.year == 2024)
    rows.loc[wrong, "date"] = pd.Timestamp("2042-06-17")
    analysis = analyse(rows, plots(("K2", 0.1, "cm", "")), QUICK)
    tables = analysis.tables
    assert tables["censuses"]["census"].tolist() == [2014, 2019, 2024]
    assert tables["summary"]["stems"].tolist() == [30, 30, 30]
    (caution,) = [one for one in analysis.cautions if "far from every census" in one]
    assert "K2 7 on 2042-06-17 (for 2024)" in caution
    assert (tables["change_basal_area"]["unmeasured"] == 0).all()


def test_a_day_that_fits_no_one_census_is_left_out_and_told():
    rows = [item for tag in range(1, 31) for item in grown(tag, (2014, 2019, 2024), 20.0, 1.0)]
    rows.append(measurement(40, "2016-11-30", "15.0"))
    analysis = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK)
    assert analysis.tables["censuses"]["census"].tolist() == [2014, 2019, 2024]
    assert "40" not in set(analysis.stems["tag"])
    assert any("K2 40 on 2016-11-30" in one for one in analysis.cautions)


def test_a_death_noted_between_censuses_is_known_at_the_next():
    rows = [item for tag in range(1, 31) for item in grown(tag, (2014, 2019), 20.0, 1.0)]
    rows = [one for one in rows if not (one["tag"] == "5" and one["date"].year == 2019)]
    rows.append(measurement(5, "2016-11-30", None, status="dead down"))
    tables = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK).tables
    assert row(tables["rates"])["died"] == 1
    assert tables["censuses"]["census"].tolist() == [2014, 2019]


def test_a_census_can_be_told():
    """Days 123 apart that measure the same stems: one year's two visits, told to be two."""
    rows = frame(
        *(measurement(tag, day, "20.0") for tag in range(1, 9)
          for day in ("2019-05-01", "2019-09-01"))
    )  # fmt: skip
    assert len(analyse(rows, plots(("K2", 0.1, "cm", "")), QUICK).tables["censuses"]) == 1
    told = rows.assign(census_told=rows["date"].dt.strftime("%b"))
    table = analyse(told, plots(("K2", 0.1, "cm", "")), QUICK).tables["censuses"]
    assert table["label"].tolist() == ["2019-05", "2019-09"]


def test_a_tree_identified_anew_is_a_note_and_no_flux():
    rows = [
        item
        for tag in range(1, 9)
        for item in grown(tag, (2015, 2020), 30.0, 0.0, species="Quercus rubra")
    ]
    rows[1]["species"] = "Pinus strobus"
    analysis = analyse(frame(*rows), plots(("K2", 0.1, "cm", "")), QUICK)
    assert row(analysis.tables["carbon"], census=2020)["change_kg"] == near(0, abs=1e-9)
    (note,) = analysis.tables["reidentified"].to_dict("records")
    assert (note["before"], note["now"]) == ("Quercus rubra", "Pinus strobus")
    assert any("identified anew" in one for one in analysis.cautions)
