"""Growth of each stem between its measurements, and its means by plot, year and species.

Only pairs of live diameters at the same height of measurement count; pairs at different heights
are kept and marked, since part of their change is the tape's place. Shrinkage stays in: leaving
out negative growth would bias every mean upward.
"""

from __future__ import annotations

from bisect import bisect_right
from statistics import NormalDist

import numpy as np
import pandas as pd

from callout.reports.stand.columns import STEM
from callout.reports.stand.formulas import basal_area_m2, log_rate, years_between

HALF_WIDTH = NormalDist().inv_cdf(0.975)
FEWEST_PERIODS = 5
_HEIGHT_SLACK_M = 0.005


def increments(stems: pd.DataFrame) -> pd.DataFrame:
    """One row a stem and pair of following measured censuses of ``stems`` (from ``stem_census``).

    ``from_census``, ``to_census``, ``years`` (365.25 days), ``from_cm``, ``to_cm``; periodic and
    annual increments ``diameter_cm``, ``diameter_cm_year``, ``basal_area_m2``,
    ``basal_area_m2_year``, ``relative_year`` (ln d2 - ln d1 a year); ``same_height``.
    """
    live = stems[stems["measured"]].sort_values(["stem_code", "census"], kind="stable")
    code = live["stem_code"].to_numpy()
    second = np.flatnonzero(code[1:] == code[:-1]) + 1 if len(code) else np.array([], dtype=int)
    before, after = live.iloc[second - 1], live.iloc[second]
    table = after[[*STEM, "species"]].reset_index(drop=True)
    table["from_census"], table["to_census"] = before["census"].array, after["census"].array
    start, end = before["date"].reset_index(drop=True), after["date"].reset_index(drop=True)
    table["years"] = years_between(start, end)
    size_1 = before["diameter_cm"].to_numpy(dtype=np.float64)
    size_2 = after["diameter_cm"].to_numpy(dtype=np.float64)
    table["from_cm"], table["to_cm"] = size_1, size_2
    table["diameter_cm"] = size_2 - size_1
    table["diameter_cm_year"] = table["diameter_cm"] / table["years"]
    table["basal_area_m2"] = basal_area_m2(size_2) - basal_area_m2(size_1)
    table["basal_area_m2_year"] = table["basal_area_m2"] / table["years"]
    table["relative_year"] = log_rate(size_2, size_1, table["years"].to_numpy())
    moved = np.abs(
        after["measured_height_m"].to_numpy(np.float64)
        - before["measured_height_m"].to_numpy(np.float64)
    )
    table["same_height"] = ~(moved > _HEIGHT_SLACK_M)
    return table


def growth_by_plot(pairs: pd.DataFrame) -> pd.DataFrame:
    """Mean annual increments a plot and pair of censuses, with 95 % intervals of the mean."""
    return _means(pairs[pairs["same_height"]], ["plot", "from_census", "to_census"])


def growth_by_year(pairs: pd.DataFrame, by: tuple[str, ...] = ("species",)) -> pd.DataFrame:
    """Mean annual growth in each census year, by ``by`` besides.

    An interval of several years gives each of them the same growth; ``spread`` is the share of
    such stems, and where it is high a single year cannot be told from its neighbours.
    """
    usable = pairs[pairs["same_height"]]
    span = (usable["to_census"] - usable["from_census"]).to_numpy(dtype=np.int64)
    rows = usable.loc[usable.index.repeat(span)].reset_index(drop=True)
    ends = np.cumsum(span)
    offset = np.arange(len(rows)) - np.repeat(ends - span, span)
    rows["year"] = rows["from_census"].to_numpy() + 1 + offset
    rows["spread"] = np.repeat(span > 1, span)
    keys = ["year", *by]
    table = _means(rows, keys)
    shares = rows.groupby(keys, observed=True)["spread"].mean().reset_index()
    return table.merge(shares, on=keys)


def _means(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    grouped = rows.groupby(keys, observed=True)
    table = grouped.agg(
        stems=("diameter_cm_year", "size"),
        diameter_cm_year=("diameter_cm_year", "mean"),
        spread_cm=("diameter_cm_year", "std"),
        basal_area_m2_year=("basal_area_m2_year", "sum"),
        relative_year=("relative_year", "mean"),
    ).reset_index()
    half = HALF_WIDTH * table.pop("spread_cm") / np.sqrt(table["stems"])
    at = int(table.columns.get_loc("diameter_cm_year")) + 1
    table.insert(at, "low_cm_year", table["diameter_cm_year"] - half)
    table.insert(at + 1, "high_cm_year", table["diameter_cm_year"] + half)
    return table


def judged_periods(pairs: pd.DataFrame, species: str | None = None) -> pd.DataFrame:
    """Good and bad periods of one species, or of all stems, from ``increments``.

    A period lies between two censuses that follow one another: a single year only where each was
    measured. None overlaps another: of all that do not, those with most stems in them are taken.
    Columns ``from_census``, ``to_census``, ``years`` (as 2012-2016), ``stems``,
    ``diameter_cm_year``, ``standardised`` ((growth - mean of periods) / their standard deviation)
    and ``judged``: good at or above 1, bad at or below -1, "too few periods" below five of them.
    """
    rows = pairs[pairs["same_height"]]
    rows = rows if species is None else rows[rows["species"] == species]
    table = (
        rows.groupby(["from_census", "to_census"], observed=True)
        .agg(stems=("diameter_cm_year", "size"), diameter_cm_year=("diameter_cm_year", "mean"))
        .reset_index()
    )
    table = table.iloc[_apart(table)].sort_values("from_census").reset_index(drop=True)
    told = [years_told(row.from_census, row.to_census) for row in table.itertuples()]
    table.insert(2, "years", pd.Series(told, dtype=object))
    spread, middle = table["diameter_cm_year"].std(), table["diameter_cm_year"].mean()
    if len(table) < FEWEST_PERIODS or not spread > 0:
        return table.assign(standardised=np.nan, judged="too few periods")
    table["standardised"] = (table["diameter_cm_year"] - middle) / spread
    table["judged"] = np.select(
        [table["standardised"] >= 1, table["standardised"] <= -1], ["good", "bad"], "ordinary"
    )
    return table


def years_told(from_census: int, to_census: int) -> str:
    """The years that growth between two censuses belongs to."""
    first = from_census + 1
    return str(first) if first == to_census else f"{first}\N{EN DASH}{to_census}"


def _apart(table: pd.DataFrame) -> list[int]:
    """Rows whose periods do not overlap, with most stems in all (weighted interval scheduling)."""
    order = sorted(range(len(table)), key=lambda at: int(table["to_census"].iloc[at]))
    starts = [int(table["from_census"].iloc[at]) for at in order]
    ends = [int(table["to_census"].iloc[at]) for at in order]
    best: list[tuple[int, list[int]]] = [(0, [])]
    for place, at in enumerate(order):
        before = bisect_right(ends, starts[place], 0, place)
        stems, kept = best[before]
        taken = (stems + int(table["stems"].iloc[at]), [*kept, at])
        best.append(max(best[-1], taken, key=lambda one: one[0]))
    return best[-1][1]
