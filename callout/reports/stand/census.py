"""From measurements to censuses: one row a stem and year, telling its state then.

A census is a year of measuring (calendar, or beginning in a month that you set). The last row of a
stem in a census stands, except that a live row without a diameter never hides one with it. Nothing
is summed here.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.core.errors import OperatorError
from callout.reports.stand.columns import CUT, DEAD, LIVE, LOST, STEM, check_measurements

Ints = NDArray[np.int64]


def census_year(dates: pd.Series, starts_in_month: int = 1) -> pd.Series:
    """The census each date belongs to: the year in which its twelve months began."""
    if not 1 <= starts_in_month <= 12:
        raise OperatorError(f"month {starts_in_month} is none: give 1 to 12")
    return dates.dt.year - (dates.dt.month < starts_in_month).astype("int64")


def codes_of(frame: pd.DataFrame, columns: list[str]) -> Ints:
    """One whole number for each distinct row of ``columns``, in order of first appearance."""
    code = np.zeros(len(frame), dtype=np.int64)
    for column in columns:
        part, found = pd.factorize(frame[column])
        code = code * (len(found) + 1) + part
        if len(columns) > 2:  # kept small, so that many columns cannot overflow
            code = pd.factorize(code)[0].astype(np.int64)
    return code


def stem_census(measurements: pd.DataFrame, starts_in_month: int = 1) -> pd.DataFrame:
    """One row a stem and census, with the columns given plus:

    ``census`` (year), ``stem_code`` (whole number, one a stem), ``visit`` (0 for the plot's first
    census, 1 for its second …), ``measured`` (live with a diameter). Sorted by stem and census.
    """
    check_measurements(measurements)
    census = census_year(measurements["date"], starts_in_month).to_numpy(dtype=np.int64)
    stem = codes_of(measurements, STEM)
    size = measurements["diameter_cm"].to_numpy(dtype=np.float64)
    live = (measurements["status"] == LIVE).to_numpy(dtype=bool)
    empty = live & np.isnan(size)
    kept = _last_rows(stem, census, empty, measurements["date"].to_numpy())
    rows = measurements.iloc[kept].reset_index(drop=True)
    return rows.assign(
        census=census[kept],
        stem_code=stem[kept],
        visit=_visits(codes_of(rows, ["plot"]), census[kept]),
        measured=live[kept] & ~np.isnan(size[kept]),
    )


def _last_rows(
    stem: Ints, census: Ints, empty: NDArray[np.bool_], dates: NDArray[Any]
) -> NDArray[np.intp]:
    """Index of the row that stands for each stem and census, in their order.

    Linear in the rows: only those of a stem measured twice in a census are sorted.
    """
    place, years = pd.factorize(census, sort=True)
    group = stem * max(1, len(years)) + place
    if len(group) and group.max() > 8 * len(group) + 1_000_000:
        group = np.unique(group, return_inverse=True)[1]
    single = np.bincount(group)[group] == 1
    row = np.full(int(group.max(initial=-1)) + 1, -1, dtype=np.intp)
    row[group[single]] = np.flatnonzero(single)
    rest = np.flatnonzero(~single)
    order = rest[np.lexsort((dates[rest], ~empty[rest], group[rest]))]
    row[group[order]] = order  # of equal indices the last one given stands
    return np.asarray(row[row >= 0], dtype=np.intp)


def _visits(plot: Ints, census: Ints) -> Ints:
    """The ordinal of each census within its plot."""
    pairs = pd.DataFrame({"plot": plot, "census": census})
    known = pairs.drop_duplicates().sort_values(["plot", "census"])
    known["visit"] = known.groupby("plot").cumcount()
    found = pairs.merge(known, how="left", on=["plot", "census"])["visit"]
    return np.asarray(found, dtype=np.int64)


def visits(stems: pd.DataFrame) -> pd.DataFrame:
    """Each plot's censuses: ``first_day``, ``last_day``, how many stems were ``measured`` and found

    dead, cut or lost, and ``who`` called them where that is told. ``stems`` from ``stem_census``.
    """
    who = stems["who"] if "who" in stems.columns else pd.Series("", index=stems.index)
    rows = stems[["plot", "census", "date", "status", "measured"]].assign(who=who.astype(object))
    rows["dead"] = rows["status"].isin(DEAD)
    rows["was_cut"] = rows["status"] == CUT
    rows["lost"] = rows["status"].isin(LOST)
    table = rows.groupby(["plot", "census"], observed=True, sort=True).agg(
        first_day=("date", "min"), last_day=("date", "max"), measured=("measured", "sum"),
        dead=("dead", "sum"), cut=("was_cut", "sum"), lost=("lost", "sum"),
        who=("who", lambda told: ", ".join(sorted({str(name) for name in told if name}))),
    )  # fmt: skip
    for name in ("first_day", "last_day"):
        table[name] = table[name].dt.strftime("%Y-%m-%d")
    return table.reset_index()


def measured_again(measurements: pd.DataFrame, within_days: int = 60) -> pd.DataFrame:
    """Stems measured twice within days: ``first_cm``, ``second_cm``, ``difference_cm``, plot, tag.

    The first and the next live diameter of a stem no more than ``within_days`` apart, at the same
    height; too short a time for growth to matter if taken outside the growing season.
    """
    live = measurements[(measurements["status"] == LIVE) & measurements["diameter_cm"].notna()]
    live = live.sort_values([*STEM, "date"], kind="stable")
    after = live.shift(-1)
    same = (live[STEM] == after[STEM]).all(axis=1) & (
        live["measured_height_m"] == after["measured_height_m"]
    )
    soon = (after["date"] - live["date"]).dt.days <= within_days
    pairs = live[same & soon]
    second = after.loc[pairs.index, "diameter_cm"].astype("float64")
    return pd.DataFrame(
        {
            **{name: pairs[name] for name in (*STEM, "date")},
            "first_cm": pairs["diameter_cm"],
            "second_cm": second,
            "difference_cm": second - pairs["diameter_cm"],
        }
    ).reset_index(drop=True)
