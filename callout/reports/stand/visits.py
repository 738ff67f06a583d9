"""Finds censuses from the days of measuring: a census is a range of days, not a calendar year.

Days of a plot that are close together, or that measure different stems, are one census. A few stems
on a day far from every census are not one: they go to the census that lacks them if their day of
the year fits exactly one, else they are set aside; both are reported. Nothing is summed here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.core.errors import OperatorError
from callout.reports.stand.columns import LIVE, STEM

CLOSE_DAYS = 90  # days without measuring within one census
APART_DAYS = 200  # the same if the stems are others
LONGEST_DAYS = 330  # no census lasts longer
LONE_SHARE = 0.05  # of the plot's fullest census; fewer stems are not a census
FEWEST = 5  # with fewer stems a plot's censuses cannot be told from a lone day
CAMPAIGN_DAYS = 60  # plots measured no further apart are one campaign
_SLACK_DAYS = 21

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Placed:
    """The result of placing rows in censuses.

    ``census`` (year of the middle day; 0: set aside) and ``day`` (the row's, or its census's middle
    day if the row was assigned to another) of each row; ``aside`` the rows told apart.
    """

    census: Ints
    day: pd.Series
    aside: pd.DataFrame


@dataclass(frozen=True)
class Runs:
    """The runs of days of plots: ``run`` is the number of each row's, a row of ``table``.

    ``table``, ascending by plot and day: ``plot`` (a whole number), ``middle`` (its middle day),
    ``rows``, ``told`` (the name's number, -1 without one), ``few`` (too few to be a census).
    """

    run: Ints
    plot: Ints
    day: Ints
    table: pd.DataFrame


def runs_of(measurements: pd.DataFrame, stem: Ints) -> Runs:
    """The runs of days of each plot, each plot by itself; ``stem`` is one whole number per stem."""
    day = np.asarray(measurements["date"].to_numpy("datetime64[D]").astype(np.int64))
    plot = np.asarray(pd.factorize(measurements["plot"])[0], dtype=np.int64)
    told = _told(measurements)
    run = _clusters(plot, day, stem, told)
    return Runs(run, plot, day, _table(run, plot, day, told))


def in_censuses(measurements: pd.DataFrame, stem: Ints, years: Ints | None = None) -> Placed:
    """The census of each row of ``measurements``; ``stem`` is one whole number per stem.

    ``census_told`` (a column of names, if there is one) overrides the days. ``years`` are those of
    the runs (``years_of``), where other plots have a say in them. Raises OperatorError if named
    censuses of a plot cannot be given years of their own.
    """
    if measurements.empty:
        return Placed(np.zeros(0, dtype=np.int64), measurements["date"], _no_rows(measurements))
    runs = runs_of(measurements, stem)
    year_of_run = years_of(runs.table) if years is None else years
    year = np.asarray(year_of_run[runs.run], dtype=np.int64)
    lone = _lone(runs.table, year_of_run)[runs.run]
    date = measurements["date"]
    if not lone.any():
        return Placed(year, date, _no_rows(measurements))
    return _settled(measurements, stem, runs.plot, runs.day, year, lone)


def _no_rows(measurements: pd.DataFrame) -> pd.DataFrame:
    none = measurements[[*STEM, "date"]].head(0)
    return none.assign(census=np.zeros(0, dtype=np.int64), why="")


def _told(measurements: pd.DataFrame) -> Ints:
    """A number for each census name in the rows; -1 for rows without one."""
    if "census_told" not in measurements.columns:
        return np.full(len(measurements), -1, dtype=np.int64)
    names = measurements["census_told"].astype(object).replace("", None)
    return np.asarray(pd.factorize(names)[0], dtype=np.int64)


def _clusters(plot: Ints, day: Ints, stem: Ints, told: Ints) -> Ints:
    """One whole number for each plot and run of days, ascending by plot and day."""
    base = int(day.min())
    span = int(day.max()) - base + 1
    # Named censuses are kept apart from days without a name.
    lane = plot * (int(told.max()) + 2) + told + 1
    key, row = np.unique(lane * span + (day - base), return_inverse=True)
    own, at = key // span, key % span
    told_lane = own % (int(told.max()) + 2) > 0
    new = np.ones(len(key), dtype=bool)
    new[1:] = own[1:] != own[:-1]
    far = np.r_[True, (np.diff(at) > CLOSE_DAYS) & ~told_lane[1:]]
    run = np.cumsum(new | far) - 1
    first = at[np.flatnonzero(new | far)]
    block = np.where(told_lane, 0, (at - first[run]) // (LONGEST_DAYS + 35))
    run = np.unique(run * (int(block.max()) + 1) + block, return_inverse=True)[1]
    found = np.asarray(run[row], dtype=np.int64)
    return _joined(found, np.asarray(own[_firsts(run)]), run, at, stem)


def _firsts(run: Ints) -> Ints:
    return np.flatnonzero(np.r_[True, run[1:] != run[:-1]])


def _joined(found: Ints, lane: Ints, run: Ints, at: Ints, stem: Ints) -> Ints:
    """Join runs that follow each other soon and measure other stems into one census."""
    starts = _firsts(run)
    first, last = at[starts], at[np.r_[starts[1:] - 1, len(at) - 1]]
    near = np.zeros(len(starts), dtype=bool)
    near[1:] = (
        (lane[1:] == lane[:-1])
        & (first[1:] - last[:-1] <= APART_DAYS)
        & (last[1:] - first[:-1] <= LONGEST_DAYS)
    )
    if not near.any():
        return found
    pairs = np.unique(stem * len(starts) + found)
    stems, runs = pairs // len(starts), pairs % len(starts)
    size = np.bincount(runs, minlength=len(starts))
    twice = (stems[1:] == stems[:-1]) & (runs[1:] == runs[:-1] + 1)
    shared = np.bincount(runs[1:][twice], minlength=len(starts))
    fewer = np.minimum(size, np.r_[size[0], size[:-1]])
    near &= shared < 0.5 * fewer
    near[1:] &= ~near[:-1]  # one join at a time, so that no chain exceeds a year
    return np.asarray((np.cumsum(~near) - 1)[found], dtype=np.int64)


def _table(cluster: Ints, plot: Ints, day: Ints, told: Ints) -> pd.DataFrame:
    """One row per run, as in ``Runs``."""
    order = np.lexsort((day, cluster))
    starts = _firsts(cluster[order])
    rows = np.diff(np.r_[starts, len(order)])
    middle = day[order][starts + (rows - 1) // 2]
    table = pd.DataFrame(
        {"plot": plot[order][starts], "middle": middle, "rows": rows, "told": told[order][starts]}
    )
    fullest = table.groupby("plot")["rows"].transform("max")
    few = table["rows"] <= np.maximum(1, np.floor(LONE_SHARE * fullest))
    return table.assign(few=few & (fullest >= FEWEST) & (table["told"] < 0))


def _lone(table: pd.DataFrame, year: Ints) -> NDArray[np.bool_]:
    """Which runs are no census; a few stems measured again in the year of one belong to it."""
    few: NDArray[np.bool_] = table["few"].to_numpy(dtype=np.bool_)
    if not few.any():
        return few
    places = pd.MultiIndex.from_arrays([table["plot"], year])
    return np.asarray(few & ~places.isin(places[~few]), dtype=np.bool_)


def years_of(table: pd.DataFrame) -> Ints:
    """The year of each run's middle day, the same for all plots measured in one campaign."""
    few = table["few"].to_numpy(dtype=bool)
    found = _year_of(table["middle"].to_numpy(dtype=np.int64))
    order = np.argsort(table["middle"].to_numpy(), kind="stable")
    order = order[~few[order]]
    middle = table["middle"].to_numpy()[order]
    group = np.cumsum(np.r_[True, np.diff(middle) > CAMPAIGN_DAYS]) - 1
    plots = table["plot"].to_numpy()[order]
    frame = pd.DataFrame({"group": group, "middle": middle, "plot": plots})
    grouped = frame.groupby("group")["middle"]
    short = grouped.transform("max") - grouped.transform("min") <= APART_DAYS
    twice = frame.duplicated(["group", "plot"], keep=False).groupby(frame["group"])
    common = _year_of(grouped.transform("median").to_numpy().astype(np.int64))
    whole = (short & ~twice.transform("any")).to_numpy(dtype=bool)
    found[order] = np.where(whole, common, found[order])
    return _apart(table, found, few)


def _apart(table: pd.DataFrame, year: Ints, few: NDArray[np.bool_]) -> Ints:
    """Give two censuses of a plot more than ``APART_DAYS`` apart different years.

    For example the winter of one year and that of the next. Raises OperatorError if named ones
    cannot be separated.
    """
    place = pd.DataFrame({"plot": table["plot"], "year": year})[~few]
    for at in place.index[place.duplicated()]:
        before = at - 1
        told = min(table["told"][at], table["told"][before]) >= 0
        if table["middle"][at] - table["middle"][before] <= APART_DAYS and not told:
            continue
        taken = set(year[(table["plot"] == table["plot"][at]).to_numpy() & ~few])
        if year[at] - 1 not in taken:
            year[before] -= 1
        elif year[at] + 1 not in taken:
            year[at] += 1
        elif told:
            raise OperatorError(
                f"more censuses are told of one plot than there are years about {year[at]}: "
                "figures go by the year, so tell one census a year"
            )
    return year


def _year_of(days: Ints) -> Ints:
    return np.asarray(days.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64) + 1970)


def _settled(
    measurements: pd.DataFrame,
    stem: Ints,
    plot: Ints,
    day: Ints,
    year: Ints,
    lone: NDArray[np.bool_],
) -> Placed:
    """Assign lone rows to the one census that lacks them, else set them aside."""
    kept = pd.DataFrame({"plot": plot, "year": year, "day": day})[~lone]
    grouped = kept.groupby(["plot", "year"])["day"]
    ranges = grouped.agg(first="min", last="max", middle="median").reset_index()
    rows = pd.DataFrame(
        {"at": np.flatnonzero(lone), "plot": plot[lone], "stem": stem[lone], "day": day[lone]}
    )
    known = pd.DataFrame({"stem": stem, "year": year})[~lone].drop_duplicates().assign(has=True)
    pairs = rows.merge(ranges, on="plot").merge(known, how="left", on=["stem", "year"])
    pairs = pairs[pairs["has"].isna()]
    live = (measurements["status"].to_numpy(dtype=object) == LIVE)[pairs["at"]]
    fits = live & (_off_season(pairs) <= _SLACK_DAYS)
    # A death or a cut noted in passing counts for the next census.
    later = pairs[~live & (pairs["first"] > pairs["day"])].sort_values("first")
    later = later.drop_duplicates("at")
    fitting = pairs[fits]
    fitting = fitting[~fitting.duplicated("at", keep=False)]
    taken = pd.concat([fitting, later])
    census = year.copy()
    census[lone] = 0
    census[taken["at"]] = taken["year"]
    moved = measurements["date"].copy()
    middle = pd.to_datetime(fitting["middle"].astype(np.int64), unit="D")
    moved.iloc[fitting["at"].to_numpy()] = middle.astype(moved.dtype).array
    aside = measurements.iloc[np.flatnonzero(lone)][[*STEM, "date"]]
    aside = aside.assign(census=census[lone], why=np.where(census[lone] > 0, _TAKEN, _LEFT))
    return Placed(census, moved, aside.reset_index(drop=True))


_TAKEN = "far from its census: is the date right?"
_LEFT = "on no census's days: left out"


def _off_season(pairs: pd.DataFrame) -> Ints:
    """Days by which each row misses its census's range, ignoring whole years."""
    middle = pairs["middle"].to_numpy(dtype=np.float64)
    half = (pairs["last"] - pairs["first"]).to_numpy(dtype=np.float64) / 2
    apart = np.abs((pairs["day"].to_numpy() - middle + 182.625) % 365.25 - 182.625)
    return np.asarray(np.maximum(0, apart - half), dtype=np.int64)


def told_aside(aside: pd.DataFrame) -> list[str]:
    """A caution for the rows that lie far from every census."""
    told = []
    for taken, words in (
        (True, "was taken for the census that lacks it"),
        (False, "is left out of the figures"),
    ):
        rows = aside[(aside["census"] > 0) == taken]
        names = [
            f"{row.plot} {row.tag} on {row.date:%Y-%m-%d}"
            + (f" (for {row.census})" if taken else "")
            for row in rows.head(8).itertuples()
        ]
        if names:
            more = f" and {len(rows) - 8} more" if len(rows) > 8 else ""
            told.append(
                f"A measurement far from every census {words}; check its date: "
                f"{', '.join(names)}{more}."
            )
    return told
