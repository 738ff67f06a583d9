"""From measurements to censuses: one row per stem and census, with its state then.

A census is a range of days (``visits``). The last row of a stem in a census stands, except that a
live row without a diameter never hides one with it, and that of two recorders' rows that disagree,
with nobody's ruling, one that was saved with a warning never hides one without. Nothing is summed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.reports.stand.columns import CUT, DEAD, LIVE, LOST, STEM, check_measurements
from callout.reports.stand.visits import in_censuses

Ints = NDArray[np.int64]


def codes_of(frame: pd.DataFrame, columns: list[str]) -> Ints:
    """One whole number for each distinct row of ``columns``, in order of first appearance."""
    code = np.zeros(len(frame), dtype=np.int64)
    for column in columns:
        part, found = pd.factorize(frame[column])
        code = code * (len(found) + 1) + part
        if len(columns) > 2:  # kept small, so that many columns cannot overflow
            code = pd.factorize(code)[0].astype(np.int64)
    return code


def stem_census(measurements: pd.DataFrame) -> pd.DataFrame:
    """One row per stem and census, with the columns given plus:

    ``census`` (the year of its middle day), ``census_day`` (that day), ``stem_code`` (whole number,
    one a stem), ``visit`` (0 for the plot's first census, 1 for its second …), ``measured`` (live
    with a diameter). Sorted by stem and census. Rows of no census are left out.
    """
    return with_aside(measurements)[0]


def with_aside(
    measurements: pd.DataFrame, years: Ints | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What ``stem_census`` gives, and the rows far from every census (``visits.Placed.aside``).

    ``years`` as in ``visits.in_censuses``.
    """
    check_measurements(measurements)
    stem = codes_of(measurements, STEM)
    placed = in_censuses(measurements, stem, years)
    if len(placed.aside):
        kept = placed.census > 0
        measurements = measurements.assign(date=placed.day)[kept].reset_index(drop=True)
        stem, placed = stem[kept], replace(placed, census=placed.census[kept])
    return _standing(measurements, stem, placed.census), placed.aside


def _standing(measurements: pd.DataFrame, stem: Ints, census: Ints) -> pd.DataFrame:
    size = measurements["diameter_cm"].to_numpy(dtype=np.float64)
    live = (measurements["status"] == LIVE).to_numpy(dtype=bool)
    empty = live & np.isnan(size)
    kept = _last_rows(stem, census, _less(measurements, empty), measurements["date"].to_numpy())
    rows = measurements.iloc[kept].reset_index(drop=True)
    group = codes_of(rows.assign(census=census[kept]), ["plot", "census"])
    return rows.assign(
        census=census[kept],
        census_day=_middle_days(group, rows["date"]),
        stem_code=stem[kept],
        visit=_visits(codes_of(rows, ["plot"]), census[kept]),
        measured=live[kept] & ~np.isnan(size[kept]),
    )


def _less(measurements: pd.DataFrame, empty: NDArray[np.bool_]) -> Ints:
    """2 for a row without its diameter, 1 for one in dispute that was warned of, else 0."""
    if not {"disagrees", "warnings"} <= set(measurements.columns):
        return empty.astype(np.int64) * 2
    open_yet = measurements["disagrees"].astype(object).fillna("") != ""
    warned = open_yet & (measurements["warnings"].astype(object).fillna("") != "")
    less = np.maximum(empty.astype(np.int64) * 2, warned.to_numpy(dtype=np.int64))
    return np.asarray(less, dtype=np.int64)


def unsettled(rows: pd.DataFrame) -> pd.Series:
    """Which rows differ from another recorder's, with nobody's ruling yet."""
    if "disagrees" not in rows.columns:
        return pd.Series(False, index=rows.index)
    return rows["disagrees"].astype(object).fillna("") != ""


def _middle_days(group: Ints, dates: pd.Series) -> pd.Series:
    """The middle day of each row's census."""
    codes, found = pd.factorize(group)
    day = dates.to_numpy("datetime64[D]").astype(np.int64)
    order = np.lexsort((day, codes))
    size = np.bincount(codes, minlength=len(found))
    middle = day[order][np.cumsum(size) - size + (size - 1) // 2] if len(day) else day
    return pd.Series(middle[codes].astype("datetime64[D]"), index=dates.index).astype(dates.dtype)


def _last_rows(stem: Ints, census: Ints, less: Ints, dates: NDArray[Any]) -> NDArray[np.intp]:
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
    order = rest[np.lexsort((dates[rest], -less[rest], group[rest]))]
    row[group[order]] = order  # of equal indices the last one given stands
    return np.asarray(row[row >= 0], dtype=np.intp)


def _visits(plot: Ints, census: Ints) -> Ints:
    """The ordinal of each census within its plot."""
    place, years = pd.factorize(census, sort=True)
    width = max(1, len(years))
    codes, found = pd.factorize(plot * width + place, sort=True)  # by plot, then by census
    of_plot = found // width
    return np.asarray((np.arange(len(found)) - np.searchsorted(of_plot, of_plot))[codes])


def census_table(stems: pd.DataFrame) -> pd.DataFrame:
    """Each plot's censuses, from ``stem_census``.

    ``label``, ``first_day``, ``last_day``; the number of ``stems``, how many were ``measured``, and
    found dead, cut or lost; ``who`` called them.
    """
    code = codes_of(stems, ["plot", "census"])
    groups, first, code = np.unique(code, return_index=True, return_inverse=True)
    table = stems[["plot", "census", "census_day"]].iloc[first].reset_index(drop=True)
    day = stems["date"].to_numpy("datetime64[D]")
    start, end = np.full(len(groups), day.max(initial=np.datetime64("1970"))), day[first].copy()
    np.minimum.at(start, code, day)
    np.maximum.at(end, code, day)
    years = [item.astype("datetime64[Y]").astype(np.int64) + 1970 for item in (start, end)]
    table.insert(2, "label", census_labels(table["plot"], years[0], years[1], start))
    table["first_day"] = np.datetime_as_string(start, unit="D").astype(object)
    table["last_day"] = np.datetime_as_string(end, unit="D").astype(object)
    status = stems["status"]
    for name, counted in (
        ("stems", np.ones(len(stems))),
        ("measured", stems["measured"]),
        ("dead", status.isin(DEAD)),
        ("cut", status == CUT),
        ("lost", status.isin(LOST)),
    ):
        table[name] = np.bincount(code, counted, len(groups)).astype(np.int64)
    table["who"] = _callers(stems, code, len(groups))
    return table.sort_values(["plot", "census"], kind="stable").reset_index(drop=True)


def census_labels(
    plot: pd.Series, first_year: Any, last_year: Any, start: NDArray[Any]
) -> NDArray[Any]:
    """Labels of censuses.

    The year, both years if its days span a new year, or year and month if two share a year.
    """
    first, last = pd.Series(first_year).astype(str), pd.Series(last_year).astype(str)
    label = first.where(first == last, first + "\N{EN DASH}" + last)
    twice = pd.DataFrame({"plot": plot.astype(object), "label": label}).duplicated(keep=False)
    months = pd.Series(np.datetime_as_string(start, unit="M"))
    return np.asarray(label.where(~twice, months), dtype=object)


def _callers(stems: pd.DataFrame, code: Ints, count: int) -> list[str]:
    """Who called the values of each census, in alphabetical order."""
    if "who" not in stems.columns:
        return [""] * count
    names = pd.DataFrame({"code": code, "who": stems["who"].astype(object)}).drop_duplicates()
    names = names[names["who"].fillna("") != ""].sort_values(["code", "who"])
    joined = names.groupby("code")["who"].agg(", ".join)
    return [str(name) for name in joined.reindex(range(count), fill_value="")]


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
