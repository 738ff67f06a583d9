"""Growth, components of change and rates: worked values, and adding up in every trial."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from stand_frames import frame, harrow_fen, measurement

from callout.reports.stand.census import stem_census
from callout.reports.stand.dynamics.change import COMPONENTS, components, whole_basal_area
from callout.reports.stand.dynamics.climate import (
    by_season,
    check_climate,
    correlations,
    detrended,
    fisher,
)
from callout.reports.stand.dynamics.growth import growth_by_plot, growth_by_year, increments
from callout.reports.stand.dynamics.periods import judged_periods
from callout.reports.stand.dynamics.rates import demographic_rates

near = pytest.approx


def test_increments_at_their_worked_values():
    """10.0 to 12.5 in five years: 0.5 a year, relative 0.0446287 (plain arithmetic)."""
    rows = frame(measurement(1, "2015-06-01", "10.0"), measurement(1, "2020-05-31", "12.5"))
    got = increments(stem_census(rows)).iloc[0]
    years = (pd.Timestamp("2020-05-31") - pd.Timestamp("2015-06-01")).days / 365.25
    assert got["years"] == near(years)
    assert got["diameter_cm"] == near(2.5)
    assert got["diameter_cm_year"] == near(0.5, rel=1e-3)
    assert got["relative_year"] == near(math.log(1.25) / years)
    assert got["basal_area_m2"] == near(math.pi / 40_000 * (12.5**2 - 10**2))


def test_a_move_of_the_tape_is_not_growth():
    rows = frame(
        measurement(1, "2015-06-01", "10.0"),
        measurement(1, "2020-06-01", "12.0", measured_height_m=1.8),
        measurement(2, "2015-06-01", "10.0"),
        measurement(2, "2020-06-01", "11.0"),
    )
    pairs = increments(stem_census(rows))
    assert pairs["same_height"].tolist() == [False, True]
    assert growth_by_plot(pairs)["stems"].tolist() == [1]


def test_every_fate_is_told():
    measurements, _ = harrow_fen()
    stems = stem_census(measurements)
    table = components(stems, whole_basal_area(stems)).set_index(["plot", "from_census"])
    first = table.loc[("K1", 2015)]

    def area(*inches):
        return sum(math.pi / 40_000 * (d * 2.54) ** 2 for d in inches)

    assert float(first["mortality"]) == near(area(12.4), abs=2e-9)
    assert first["cut"] == 0
    assert float(first["lost"]) == near(area(9.9), abs=2e-9)
    assert float(first["unmeasured"]) == near(area(7.7), abs=2e-9)
    assert float(first["ingrowth"]) == near(area(4.0), abs=2e-9)
    growth = area(10.6, 8.1, 6.9) - area(10.0, 8.2, 6.1)
    assert float(first["survivor_growth"]) == near(growth, abs=1e-8)
    second = table.loc[("K1", 2020)]
    assert float(second["cut"]) == near(area(8.1), abs=2e-9)
    assert float(second["found_again"]) == near(area(8.8), abs=2e-9)


def adds_up(table):
    for _, row in table.iterrows():
        parts = sum((sign * row[name] for name, sign in COMPONENTS.items()), Decimal(0))
        assert parts == row["net"] == row["at_second"] - row["at_first"]


STATES = st.sampled_from(
    ["live", "live", "live", "dead standing", "dead down", "cut", "missing", "not found", ""]
)
SIZES = st.one_of(st.none(), st.decimals("0.1", "300", places=2))
HISTORIES = st.lists(
    st.lists(st.tuples(STATES, SIZES), min_size=4, max_size=4), min_size=1, max_size=12
)


@settings(max_examples=80, deadline=None)
@given(HISTORIES)
def test_components_add_up_exactly(histories):
    """Any states in any order, the impossible ones too: dead then live, cut then found."""
    rows = [
        measurement(tag, f"{2010 + 3 * visit}-06-01", size, ("cm", "in")[tag % 2], status=state)
        for tag, history in enumerate(histories)
        for visit, (state, size) in enumerate(history)
        if state
    ]
    if not rows:
        return
    stems = stem_census(frame(*rows))
    table = components(stems, whole_basal_area(stems))
    adds_up(table)
    assert len(table) == max(0, stems["census"].nunique() - 1)
    # The first and last totals span all changes: nothing leaks between pairs of censuses.
    if len(table):
        assert table["net"].sum() == table["at_second"].iloc[-1] - table["at_first"].iloc[0]


def test_rates_at_their_worked_values():
    """100 stems, 90 survive five years, 20 come in: 0.0210721 and ln(110/90)/5."""
    rows = [measurement(tag, "2015-06-01", "20.0") for tag in range(100)]
    for tag in range(100):
        if tag < 90:
            rows.append(measurement(tag, "2020-06-01", "21.0"))
        else:
            rows.append(measurement(tag, "2020-06-01", None, status="dead down"))
    rows += [measurement(tag, "2020-06-01", "10.0") for tag in range(100, 120)]
    got = demographic_rates(stem_census(frame(*rows))).iloc[0]
    years = 1827 / 365.25
    assert (got["at_risk"], got["survivors"], got["died"], got["recruits"]) == (100, 90, 10, 20)
    assert got["mortality_year"] == near(0.0210721 * 5 / years, abs=1e-7)
    assert got["recruitment_year"] == near(math.log(110 / 90) / years)


def test_unknown_fates_are_kept_out_of_mortality():
    measurements, _ = harrow_fen()
    got = demographic_rates(stem_census(measurements)).iloc[0]
    # Tag 6 was told live without a diameter: it survived.
    assert (got["at_risk"], got["died"], got["lost"], got["survivors"]) == (5, 1, 1, 4)


def test_years_share_a_long_interval():
    rows = frame(measurement(1, "2015-06-01", "10.0"), measurement(1, "2020-06-01", "12.5"))
    table = growth_by_year(increments(stem_census(rows)))
    assert table["year"].tolist() == [2016, 2017, 2018, 2019, 2020]
    assert table["spread"].tolist() == [1.0] * 5
    assert table["diameter_cm_year"].tolist() == near([2.5 / (1827 / 365.25)] * 5)


def pairs_of(*rows, plots="abcd", seed=3):
    """Increments from rows of (from, to, stems a plot, growth in cm a year); plots differ a bit."""
    rng = np.random.default_rng(seed)
    table = [
        {"plot": plot, "from_census": start, "to_census": end, "species": "a", "same_height": True,
         "diameter_cm_year": growth + 0.05 * at + float(rng.normal(0, 0.004))}
        for start, end, stems, growth in rows
        for at, plot in enumerate(plots)
        for _ in range(stems)
    ]  # fmt: skip
    return pd.DataFrame(table)


GROWTH = {2016: 0.30, 2017: 0.32, 2018: 0.05, 2019: 0.31, 2020: 0.29, 2021: 0.33}


def test_a_bad_year_is_told_where_all_plots_show_it():
    """Invented: one year lies 0.2 cm below the rest in each of four plots."""
    pairs = pairs_of(*((year - 1, year, 6, size) for year, size in GROWTH.items()))
    judged = judged_periods(pairs).set_index("years")
    assert judged["judged"]["2018"] == "bad"
    assert judged["p_corrected"]["2018"] < 0.001
    assert judged["low"]["2018"] < 0.05 - sum(GROWTH.values()) / 6 < judged["high"]["2018"]
    assert judged["anomaly_cm_year"].sum() == near(0, abs=1e-12)


@pytest.mark.parametrize(
    ("kept", "plots", "why"), [(4, "abcd", "periods"), (6, "ab", "plots"), (6, "abcd", "")]
)
def test_nothing_is_judged_on_too_little(kept, plots, why):
    years = list(GROWTH.items())[:kept]
    pairs = pairs_of(*((year - 1, year, 6, size) for year, size in years), plots=plots)
    table = judged_periods(pairs)
    assert (set(table["judged"]) == {"not judged"}) == bool(why)
    assert all(why in told for told in table["why"])


def test_the_layouts_test_is_that_of_a_two_way_analysis():
    """The residual of plots by periods, against statsmodels' own analysis of variance."""
    import statsmodels.api as sm
    from statsmodels.formula.api import ols

    pairs = pairs_of(*((year - 1, year, 6, size) for year, size in GROWTH.items()))
    means = pairs.groupby(["plot", "to_census"])["diameter_cm_year"].mean().reset_index()
    fit = ols("diameter_cm_year ~ C(plot) + C(to_census)", means).fit()
    left = sm.stats.anova_lm(fit).loc["Residual"]
    table = judged_periods(pairs)
    half = (table["high"] - table["low"]) / 2
    error = math.sqrt(left["mean_sq"] * (1 - 1 / 6) / 4)
    assert half.tolist() == near([stats.t.ppf(0.975, left["df"]) * error] * 6)


def test_climate_is_held_against_growth_without_either_trend():
    """Growth made from rain, so r is 1 by construction; a common trend alone is no correlation."""
    pairs = pairs_of(*((year - 1, year, 6, size) for year, size in GROWTH.items()))
    periods = judged_periods(pairs)
    rain = 900 * periods["diameter_cm_year"] + 100
    drift = [10.0, 11.0, 12.0, 13.0, 14.0, 15.0]
    climate = pd.DataFrame({"year": list(GROWTH), "rain": rain, "drift": drift})
    got = correlations(periods, climate).set_index(["figure", "lag"])
    assert got.loc[("rain", 0), "r"] == near(1.0)
    assert "shows no cause" in got.loc[("rain", 0), "told"]
    assert math.isnan(got.loc[("drift", 0), "r"])  # nothing is left without its trend
    assert got.loc[("rain", 1), "n"] == 5  # no figure for the year before the first
    assert "Fewer than 6" in got.loc[("rain", 1), "told"]


def test_seasons_come_from_months():
    months = pd.DataFrame(
        [(year, month, float(month)) for year in (2019, 2020) for month in range(1, 13)],
        columns=["year", "month", "warmth"],
    )
    found = by_season(months)
    assert found["year"]["warmth"].tolist() == [6.5, 6.5]
    assert found["June to August"]["warmth"].tolist() == [7.0, 7.0]
    winter = found["December to February"]["warmth"]
    assert winter[2020] == near((12 + 1 + 2) / 3)
    assert math.isnan(winter[2019])  # its December lies before the table


def test_a_correlation_is_that_of_its_partial():
    """r less the trend, and its p, against statsmodels' regression on trend and figure."""
    import statsmodels.api as sm

    rng = np.random.default_rng(9)
    time = np.arange(12.0)
    figure = rng.normal(size=12) + 0.3 * time
    growth = 0.4 * figure + rng.normal(size=12) - 0.1 * time
    got = detrended(growth, figure, time)
    fit = sm.OLS(growth, sm.add_constant(np.column_stack([time, figure]))).fit()
    assert got["p"] == near(float(fit.pvalues[2]))
    t = float(fit.tvalues[2])
    assert got["r"] == near(t / math.sqrt(t * t + fit.df_resid))


def test_years_between_two_censuses_are_one_period():
    """Five years measured at their ends are one figure of growth, and one pair for a climate."""
    censuses = (2000, 2005, 2010, 2015, 2020)
    sizes = (0.30, 0.10, 0.40, 0.20)
    pairs = pairs_of(
        *(
            (start, end, 9, size)
            for start, end, size in zip(censuses, censuses[1:], sizes, strict=False)
        )
    )
    periods = judged_periods(pairs)
    assert periods["years"].tolist() == ["2001–2005", "2006–2010", "2011–2015", "2016–2020"]
    assert set(periods["judged"]) == {"not judged"}  # though twenty years
    climate = pd.DataFrame({"year": range(2001, 2021), "mm": [900 + y % 7 for y in range(20)]})
    assert set(correlations(periods, climate)["n"]) == {3, 4}


@pytest.mark.parametrize(
    ("rows", "kept"),
    [
        ([(2011, 2016, 40, 0.3), (2016, 2021, 38, 0.3), (2011, 2021, 25, 0.3)], [2011, 2016]),
        ([(2016, 2017, 1, 0.3), (2016, 2021, 90, 0.3)], [2016]),  # a stem looked at once more
        ([(year, year + 1, 30, 0.3) for year in range(2016, 2021)] + [(2016, 2021, 92, 0.3)],
         [2016, 2017, 2018, 2019, 2020]),
        ([(2016, 2021, 5, 0.3)], [2016]),
    ],
)  # fmt: skip
def test_periods_do_not_overlap(rows, kept):
    periods = judged_periods(pairs_of(*rows, plots="a"))
    assert periods["from_census"].tolist() == kept
    assert (periods["to_census"].array[:-1] <= periods["from_census"].array[1:]).all()


def test_fishers_interval():
    """r = 0.5 with n = 28: tanh(0.549306 -+ 1.959964/5) = 0.156028, 0.735819 (arithmetic)."""
    assert fisher(0.5, 28) == near((0.156028, 0.735819), abs=2e-5)


def test_climate_tables_are_checked():
    with pytest.raises(Exception, match="twice"):
        check_climate(pd.DataFrame({"year": [2020, 2020], "rain": [1, 2]}))
    with pytest.raises(Exception, match="column 'year'"):
        check_climate(pd.DataFrame({"rain": [1, 2]}))
