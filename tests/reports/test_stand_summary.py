"""A whole plot recomputed in plain arithmetic, and the properties of the summary."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_frames import frame, harrow_fen, measurement, plots

from callout.core.errors import OperatorError
from callout.reports.stand.census import census_table, measured_again, stem_census
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.summary import diameter_classes, stand_summary

near = pytest.approx


def row(table, **keys):
    for name, value in keys.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


def test_one_plot_by_plain_arithmetic():
    """Every figure of K1 in 2015 again, from the readings, without pandas or our formulas."""
    measurements, places = harrow_fen()
    inches = [10.0, 8.2, 12.4, 6.1, 9.9, 7.7]
    acres = 0.0405 / 0.40468564224
    square_feet = sum(math.pi * (d / 24) ** 2 for d in inches)
    qmd = math.sqrt(sum(d * d for d in inches) / 6)
    got = row(stand_summary(stem_census(measurements), PlotFacts(places)), plot="K1", census=2015)
    assert got["stems"] == 6
    assert got["stems_per_acre"] == near(6 / acres)
    assert got["stems_per_ha"] == near(6 / 0.0405)
    assert got["basal_area_ft2_acre"] == near(square_feet / acres)
    assert got["basal_area_m2_ha"] == near(square_feet * 0.3048**2 / 0.0405)
    assert got["mean_diameter_cm"] == near(sum(inches) / 6 * 2.54)
    assert got["qmd_in"] == near(qmd)
    assert got["sdi_per_acre"] == near(6 / acres * (qmd / 10) ** 1.605)


def test_states_other_than_live_are_not_summed():
    measurements, places = harrow_fen()
    got = row(stand_summary(stem_census(measurements), PlotFacts(places)), plot="K1", census=2020)
    assert (got["stems"], got["unmeasured"]) == (4, 1)


def test_without_an_area_nothing_is_told_a_hectare():
    measurements, places = harrow_fen()
    places["area_ha"] = np.nan
    got = stand_summary(stem_census(measurements), PlotFacts(places))
    assert got["basal_area_m2_ha"].isna().all()
    assert got["basal_area_m2"].notna().all()


def test_the_last_row_of_a_year_stands_but_an_empty_one_hides_nothing():
    stems = stem_census(
        frame(
            measurement(1, "2024-06-01", "20.0"),
            measurement(1, "2024-06-20", "20.4"),
            measurement(1, "2024-07-01", None),
            measurement(2, "2024-06-01", "30.0"),
            measurement(2, "2024-08-01", None, status="dead standing"),
        )
    )
    assert stems["diameter_cm"].tolist()[:1] == [20.4]
    assert stems["status"].tolist() == ["live", "dead standing"]
    assert stems["measured"].tolist() == [True, False]


def test_a_winter_visit_is_one_census():
    rows = [
        measurement(tag, day, "20.0")
        for start in ("2023-12-30", "2024-12-30")
        for tag, day in enumerate(pd.date_range(start, periods=8).strftime("%Y-%m-%d"), start=1)
    ]
    stems = stem_census(frame(*rows, measurement(1, "2025-10-01", "21.0")))
    table = census_table(stems)
    assert table["label"].tolist()[:2] == ["2023–2024", "2024–2025"]
    assert table["stems"].tolist()[:2] == [8, 8]


def test_classes():
    sizes = ["4.9", "5.0", "9.9", "10.0", "30.0"]
    rows = [measurement(at, "2024-06-01", size) for at, size in enumerate(sizes)]
    stems = stem_census(frame(*rows))
    facts = PlotFacts(plots(("K2", 0.1, "cm", "")))
    table = diameter_classes(stems, stand_summary(stems, facts))
    found = dict(zip(table["class_from_cm"], table["stems"], strict=True))
    assert found == {0: 1, 5: 2, 10: 1, 30: 1}
    assert table["stems_per_ha"].tolist() == [10, 20, 10, 10]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(10, 1500), min_size=1, max_size=30), st.randoms())
def test_order_does_not_matter_and_classes_hold_every_stem(tenths, shuffler):
    rows = [
        measurement(at, "2024-06-01", f"{size // 10}.{size % 10}") for at, size in enumerate(tenths)
    ]
    facts = PlotFacts(plots(("K2", 0.1, "cm", "")))
    straight = stand_summary(stem_census(frame(*rows)), facts)
    shuffler.shuffle(rows)
    stems = stem_census(frame(*rows))
    shuffled = stand_summary(stems, facts)
    pd.testing.assert_frame_equal(straight, shuffled, rtol=1e-12)
    assert diameter_classes(stems, shuffled)["stems"].sum() == len(tenths)
    # Quadratic mean is never below the mean (power mean inequality).
    assert straight["qmd_cm"][0] >= straight["mean_diameter_cm"][0] * (1 - 1e-12)


def test_stems_measured_again():
    pairs = measured_again(
        frame(
            measurement(1, "2024-06-01", "20.0"),
            measurement(1, "2024-06-10", "20.3"),
            measurement(2, "2024-06-01", "30.0"),
            measurement(2, "2025-06-01", "30.9"),
            measurement(3, "2024-06-01", "40.0"),
            measurement(3, "2024-06-10", "40.1", measured_height_m=1.6),
        )
    )
    assert pairs["tag"].tolist() == ["1"]
    assert pairs["difference_cm"].tolist() == [near(0.3)]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"status": "asleep"}, "unknown status 'asleep'"),
        ({"date": pd.NaT}, "no date"),
        ({"diameter_cm": 0.0}, "zero or below"),
    ],
)
def test_bad_measurements_are_refused(change, says):
    with pytest.raises(OperatorError, match=says):
        stem_census(frame({**measurement(1, "2024-06-01", "20.0"), **change}))


def test_bad_plots_are_refused():
    stems = stem_census(frame(measurement(1, "2024-06-01", "20.0")))
    twice = plots(("K2", 0.1, "cm", ""), ("K2", 0.1, "cm", ""))
    with pytest.raises(OperatorError, match="'K2' is there twice"):
        stand_summary(stems, PlotFacts(twice))
    with pytest.raises(OperatorError, match="area"):
        stand_summary(stems, PlotFacts(plots(("K2", 0.0, "cm", ""))))
    with pytest.raises(OperatorError, match="lack the column status"):
        stem_census(frame(measurement(1, "2024-06-01", "20.0")).drop(columns="status"))
