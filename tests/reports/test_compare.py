"""Treatments against the control: by hand, against a mixed model fitted elsewhere, in words.

Data are invented, with a known effect, unless a test names its source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats
from stand_frames import frame, measurement, plot_history, plots

from callout.core.errors import OperatorError
from callout.reports.pages.analysis import ReportSettings, analyse
from callout.reports.stand.dynamics.compare import (
    Figure,
    assigned,
    treatment_effects,
    treatment_means,
)
from callout.reports.stand.dynamics.growth import growth_by_year
from callout.reports.stand.dynamics.rates import rates_of_site, wilson
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.mass_variance import Draws

near = pytest.approx
FIGURE = Figure("basal_area_m2_ha", "Basal area, m² a hectare", 2)
DAY = "2010-07-01"


def levels(rng, treated, control, years, *, effect, skipped=()):
    """Plots' levels, each its own, with a shift of its own after ``DAY``; ``assigned``."""
    rows = []
    for at in range(treated + control):
        base, shift = 25 + 4 * rng.standard_normal(), rng.standard_normal()
        for year in years:
            after = year >= 2011
            if (at, year) not in skipped:
                value = base + after * (shift + effect * (at < treated)) + rng.standard_normal()
                day = pd.Timestamp(f"{year}-07-01")
                rows.append({"plot": str(at), "start": day, "day": day, "value": value})
    names = [str(at) for at in range(treated + control)]
    kinds = ["thinned"] * treated + ["control"] * control
    places = plots(*((name, 0.1, "cm", kind) for name, kind in zip(names, kinds, strict=True)))
    history = plot_history(*((name, DAY, {"treatment": "thinned"}) for name in names[:treated]))
    return assigned(pd.DataFrame(rows), PlotFacts(places, history))


def test_a_change_against_a_change_by_hand():
    """Differences of plots' changes, pooled variance, Student's t with n1 + n2 - 2."""
    rows = levels(np.random.default_rng(1), 3, 4, (2000, 2005, 2012, 2017), effect=-6.0)
    (got,) = treatment_effects(rows, FIGURE, "control").to_dict("records")
    after = rows["day"] > DAY
    means = rows.groupby(["plot", after])["value"].mean().unstack()
    change = means[True] - means[False]
    test = stats.ttest_ind(change[["0", "1", "2"]], change[["3", "4", "5", "6"]])
    bounds = test.confidence_interval(0.95)
    assert (got["low"], got["high"]) == near((bounds.low, bounds.high))
    assert (got["design"], got["plots"], got["control_plots"], got["freedom"]) == (
        "before and after", 3, 4, 5,
    )  # fmt: skip
    assert "thinned plots changed from before to after by" in got["told"]
    assert "3 and 4 plots" in got["told"] and "more than chance" in got["told"]


def test_even_data_give_what_a_mixed_model_gives():
    """statsmodels' own mixed model of the formula: the same effect, the same standard error."""
    rows = levels(np.random.default_rng(2), 4, 4, (2000, 2005, 2012, 2017), effect=-6.0)
    (got,) = treatment_effects(rows, FIGURE, "control").to_dict("records")
    rows = rows.assign(after=(rows["day"] > DAY) * 1.0, treated=(rows["treatment"] == "thinned"))
    rows["treated"] = rows["treated"] * 1.0
    model = smf.mixedlm(
        "value ~ treated * after", rows, groups="plot",
        re_formula="1", vc_formula={"shift": "0 + C(after)"},
    )  # fmt: skip
    fit = model.fit(reml=True, method=["lbfgs"])
    assert got["effect"] == near(fit.params["treated:after"], rel=1e-4)
    half = stats.t.ppf(0.975, 6) * fit.bse["treated:after"]
    assert (got["high"] - got["low"]) / 2 == near(half, rel=0.02)


def test_uneven_data_go_through_the_mixed_model():
    """A plot that lacks a census counts with what it has; the effect stays where it was made."""
    skipped = {(0, 2000), (5, 2017), (2, 2012)}
    rows = levels(
        np.random.default_rng(3), 6, 6, (2000, 2005, 2012, 2017), effect=-6.0, skipped=skipped
    )
    (got,) = treatment_effects(rows, FIGURE, "control").to_dict("records")
    assert got["low"] < -6.0 < got["high"] < 0
    assert (got["plots"], got["control_plots"], got["freedom"]) == (6, 6, 10)


def test_staggered_censuses_are_one_row():
    """Plots measured in years of their own: still one row a treatment, each plot once."""
    rng = np.random.default_rng(4)
    rows = levels(rng, 3, 3, (2000, 2005, 2012, 2017), effect=-6.0)
    days = rows["day"] + pd.to_timedelta(rows["plot"].astype(int) * 100, unit="D")
    rows = rows.assign(day=days, start=days)
    table = treatment_effects(rows, FIGURE, "control")
    assert len(table) == 1
    means = treatment_means(rows, FIGURE)
    assert means["plots"].tolist() == [3, 3, 3]
    assert means["period"].tolist() == ["", "before", "after"]


def test_without_a_before_levels_are_compared_and_that_is_said():
    rows = levels(np.random.default_rng(5), 3, 3, (2012, 2017), effect=-6.0)
    (got,) = treatment_effects(rows, FIGURE, "control").to_dict("records")
    assert got["design"] == "level"
    assert "There is no before" in got["told"]


def test_one_plot_is_not_compared_and_the_reason_is_told():
    rows = levels(np.random.default_rng(6), 1, 3, (2000, 2012), effect=-6.0)
    (got,) = treatment_effects(rows, FIGURE, "control").to_dict("records")
    assert np.isnan(got["effect"])
    assert "takes 2 plots of each" in got["told"]


def test_the_whole_report_compares_by_the_day_of_treatment():
    """Two thinned and two control plots: half of the stems of the thinned ones were cut in 2018."""
    rng, rows = np.random.default_rng(7), []
    for plot in "abcd":
        for tag in range(1, 11):
            for year, grown in ((2012, 0.0), (2017, 1.0), (2022, 2.0)):
                gone = plot in "ab" and year == 2022 and tag <= 5
                size = f"{20 + tag + grown + rng.normal(0, 0.2):.1f}"
                rows.append(
                    measurement(
                        tag, f"{year}-06-01", None if gone else size, plot=plot,
                        status="cut" if gone else "live",
                    )
                )  # fmt: skip
    kinds = {"a": "thinned", "b": "thinned", "c": "control", "d": "control"}
    places = plots(*((name, 0.1, "cm", kind) for name, kind in kinds.items()))
    history = plot_history(*((name, "2018-02-01", {"treatment": "thinned"}) for name in "ab"))
    settings = ReportSettings(draws=Draws(draws=200))
    tables = analyse(frame(*rows), places, settings, history=history).tables
    effects = tables["treatment_effects"].set_index("figure")
    got = effects.loc["basal_area_m2_ha"]
    assert (got["design"], got["freedom"]) == ("before and after", 2)
    assert got["high"] < 0
    assert effects.loc["carbon_t_ha", "high"] < 0
    assert tables["summary"].set_index(["plot", "census"])["treatment"][("a", 2017)] == ""
    with pytest.raises(OperatorError, match="no treatment 'burnt'"):
        analyse(frame(*rows), places, ReportSettings(control="burnt"), history=history)


# ---- intervals over stems and plots ----


def test_wilsons_worked_example():
    """0 of 10 and 5 of 10: E. B. Wilson's score bounds by its formula, 95 %, by hand."""
    z = 1.959964

    def bounds(count, n):
        p = count / n
        middle = (p + z * z / (2 * n)) / (1 + z * z / n)
        half = z / (1 + z * z / n) * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5
        return middle - half, middle + half

    low, high = wilson([0, 5], [10, 10])
    assert (low[1], high[1]) == near(bounds(5, 10))
    assert (low[0], high[0]) == near(bounds(0, 10), abs=1e-7)
    assert np.isnan(wilson([1], [4])[0][0])  # four stems tell no interval


def test_deaths_of_a_site_take_the_plot_as_the_unit():
    """Three plots alike have no spread between them; with two there is no interval."""
    table = pd.DataFrame(
        {"plot": list("abc"), "from_census": 2015, "to_census": 2020, "years": 5.0,
         "at_risk": 100, "survivors": 90, "died": 10, "recruits": 5,
         "recruitment_year": 0.01, "why": ""}
    )  # fmt: skip
    got = rates_of_site(table).iloc[0]
    assert got["mortality_year"] == near(0.0210721, abs=1e-7)  # -ln 0.9 / 5
    assert got["mortality_low"] == near(got["mortality_high"])
    table.loc[0, ["died", "survivors"]] = [20, 80]
    spread = rates_of_site(table).iloc[0]
    assert spread["mortality_low"] < spread["mortality_year"] < spread["mortality_high"]
    few = rates_of_site(table[:2]).iloc[0]
    assert np.isnan(few["mortality_low"]) and "fewer than 3 plots" in few["why"]


def test_the_jackknife_over_equal_plots_is_students_t():
    """Plots of as many stems each: the interval of the mean is that of the plots' means."""
    rng = np.random.default_rng(8)
    means = [0.2, 0.3, 0.45, 0.28]
    rows = pd.DataFrame(
        [
            {"plot": str(at), "species": "a", "from_census": 2015, "to_census": 2016,
             "diameter_cm_year": mean + step, "basal_area_m2_year": 0.0, "relative_year": 0.0,
             "same_height": True}
            for at, mean in enumerate(means)
            for step in (lambda draw: draw - draw.mean())(rng.normal(0, 0.1, 6))
        ]
    )  # fmt: skip
    got = growth_by_year(rows).iloc[0]
    low, high = stats.t.interval(0.95, 3, np.mean(means), stats.sem(means))
    assert (got["low_cm_year"], got["high_cm_year"]) == near((low, high))
