"""Growth, components of change and rates: worked values, and adding up in every trial."""

from __future__ import annotations

import math
from decimal import Decimal

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_frames import frame, harrow_fen, measurement

from callout.reports.stand.census import stem_census
from callout.reports.stand.change import (
    COMPONENTS,
    components,
    demographic_rates,
    whole_basal_area,
)
from callout.reports.stand.climate import check_climate, correlations
from callout.reports.stand.growth import (
    growth_by_plot,
    growth_by_year,
    increments,
    judged_periods,
)

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


def pairs_of(*rows):
    """Increments from rows of (from, to, stems, growth in cm a year)."""
    table = [
        {"from_census": start, "to_census": end, "species": "a", "same_height": True,
         "diameter_cm_year": growth}
        for start, end, stems, growth in rows
        for _ in range(stems)
    ]  # fmt: skip
    return pd.DataFrame(table)


def test_good_and_bad_years_and_their_climate():
    """Growth made from rain, so that r is 1 by construction; one year lies far below."""
    growth = {2016: 0.30, 2017: 0.32, 2018: 0.05, 2019: 0.31, 2020: 0.29, 2021: 0.33}
    pairs = pairs_of(*((year - 1, year, 4, size) for year, size in growth.items()))
    periods = judged_periods(pairs, "a")
    judged = periods.set_index("years")
    assert judged["judged"]["2018"] == "bad"
    assert judged["judged"]["2016"] == "ordinary"
    climate = pd.DataFrame(
        {"year": list(growth), "precipitation_mm": [900 * g + 100 for g in growth.values()]}
    )
    got = correlations(periods, climate).iloc[0]
    assert got["r"] == near(1.0)
    assert got["n"] == 6
    assert "no cause" in got["caveat"]
    assert set(judged_periods(pairs[: 4 * 4], "a")["judged"]) == {"too few periods"}


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
    assert set(periods["judged"]) == {"too few periods"}  # though twenty years
    rain = {year: 900 + year % 5 for year in range(2001, 2021)}
    climate = pd.DataFrame({"year": list(rain), "mm": list(rain.values())})
    climate["t"] = [sizes[(year - 2001) // 5] + (year % 5 - 2) for year in rain]
    got = correlations(periods, climate).set_index("figure")
    assert got["n"].tolist() == [4, 4]
    assert math.isnan(got["r"]["mm"])  # its means over five years do not vary
    assert got["r"]["t"] == near(1.0)
    short = correlations(periods, climate[climate["year"] != 2003]).set_index("figure")
    assert short["n"]["t"] == 3 and "too few" in short["caveat"]["t"]


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
    periods = judged_periods(pairs_of(*rows))
    assert periods["from_census"].tolist() == kept
    assert (periods["to_census"].array[:-1] <= periods["from_census"].array[1:]).all()


def test_fishers_interval():
    """r = 0.5 with n = 28: tanh(0.549306 -+ 1.959964/5) = 0.156028, 0.735819 (arithmetic)."""
    from callout.reports.stand.climate import _correlation

    x = [(-1) ** at for at in range(28)]
    y = [0.5 * a + math.sqrt(0.75) * (1 if at % 4 < 2 else -1) for at, a in enumerate(x)]
    got = _correlation(pd.DataFrame({"x": x, "y": y}).to_numpy())
    assert got["r"] == near(0.5)
    assert (got["low"], got["high"]) == near((0.156028, 0.735819), abs=2e-5)


def test_climate_tables_are_checked():
    with pytest.raises(Exception, match="twice"):
        check_climate(pd.DataFrame({"year": [2020, 2020], "rain": [1, 2]}))
    with pytest.raises(Exception, match="column 'year'"):
        check_climate(pd.DataFrame({"rain": [1, 2]}))
