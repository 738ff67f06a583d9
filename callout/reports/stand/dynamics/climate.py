"""Growth beside climate of the season and of earlier years, detrended and corrected for tries.

Every figure, season and lag is one try, and among many tries some look strong by chance: all are
corrected together (S. Holm), and those that then fail are called exploratory. A correlation does
not show a cause. No files here: the table comes in as a frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import NormalDist

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.multitest import multipletests

from callout.core.errors import OperatorError
from callout.reports.stand.sampling import LABEL_P

FEWEST_PERIODS = 6  # with trend and correlation taken, three degrees of freedom are left
LAGS = (0, 1)
SEASONS = {
    "December to February": (12, 1, 2),
    "March to May": (3, 4, 5),
    "June to August": (6, 7, 8),
    "September to November": (9, 10, 11),
}
WHOLE_YEAR = "year"
COLUMNS = ["group", "figure", "season", "lag", "n", "r", "low", "high", "p", "p_corrected", "told"]


def check_climate(climate: pd.DataFrame) -> pd.DataFrame:
    """Whole-number ``year``, optionally ``month`` (1 to 12), and at least one figure.

    Raises OperatorError otherwise.
    """
    keys = [name for name in ("year", "month") if name in climate.columns]
    if "year" not in keys or len(climate.columns) <= len(keys):
        raise OperatorError("the climate table needs a column 'year' and one figure or more")
    table = climate.apply(pd.to_numeric, errors="coerce")
    bad = table["year"].isna() | (table["year"] % 1 != 0)
    if bad.any():
        raise OperatorError(f"row {int(np.argmax(bad)) + 1} of the climate table has no whole year")
    if "month" in keys and not table["month"].isin(range(1, 13)).all():
        raise OperatorError("a month of the climate table is none of 1 to 12")
    if table.duplicated(keys).any():
        row = table[table.duplicated(keys)].iloc[0]
        told = f"year {int(row['year'])}" + (
            f", month {int(row['month'])}" if "month" in keys else ""
        )
        raise OperatorError(f"{told} is in the climate table twice: keep one row")
    return table.astype(dict.fromkeys(keys, "int64"))


def by_season(climate: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Means of each year by season, and of the whole year; none with a gap.

    December counts to the winter that it begins, named after the following year.
    """
    table = check_climate(climate)
    if "month" not in table.columns:
        return {WHOLE_YEAR: table.set_index("year")}
    found = {WHOLE_YEAR: _whole(table, 12)}
    for name, months in SEASONS.items():
        own = table[table["month"].isin(months)]
        own = own.assign(year=own["year"] + ((own["month"] == 12) & (months[0] == 12)))
        found[name] = _whole(own, len(months))
    return found


def _whole(rows: pd.DataFrame, months: int) -> pd.DataFrame:
    grouped = rows.drop(columns="month").groupby("year")
    return grouped.mean().where(grouped.count() == months)


def correlations(
    periods: pd.DataFrame, climate: pd.DataFrame, group: str = "all plots"
) -> pd.DataFrame:
    """Correlation of growth (``judged_periods``) with each climate figure, season and lag.

    A figure is its mean over the years of the period, or over the same years one earlier (``lag``
    1); both lose their straight trend in time first. Columns COLUMNS: ``n`` periods, Pearson's
    ``r`` with ``low`` and ``high`` (Fisher's z, 95 %), ``p`` and ``p_corrected`` for all tries
    (``corrected``). NaN below six periods or where a figure does not vary.
    """
    growth = periods["diameter_cm_year"].to_numpy(dtype=np.float64)
    spans = periods[["from_census", "to_census"]].to_numpy(dtype=np.int64)
    rows = [
        {
            "group": group,
            "figure": figure,
            "season": season,
            "lag": lag,
            **detrended(growth, means, spans.mean(axis=1)),
        }
        for season, figure, lag, means in _tries(by_season(climate), spans)
    ]
    return corrected(pd.DataFrame(rows, columns=COLUMNS[:-2]))


def _tries(
    seasons: dict[str, pd.DataFrame], spans: np.ndarray
) -> Iterator[tuple[str, str, int, np.ndarray]]:
    """Season, figure, lag and the figure's mean over each period's years."""
    for season, table in seasons.items():
        years = np.arange(spans.min() - 1, spans.max() + 2) if len(spans) else np.arange(0)
        known = table.reindex(years).to_numpy(dtype=np.float64)
        # Cumulative sums by year; a count beside turns any sum over a gap into NaN.
        sums = np.cumsum(np.vstack([np.zeros(known.shape[1]), np.nan_to_num(known)]), axis=0)
        gaps = np.cumsum(np.vstack([np.zeros(known.shape[1]), np.isnan(known)]), axis=0)
        for lag in LAGS:
            first, last = (spans - lag + 1 - (years[0] if len(years) else 0)).T
            whole = (sums[last] - sums[first]) / (last - first)[:, None]
            means = np.where(gaps[last] > gaps[first], np.nan, whole)
            for at, figure in enumerate(table.columns):
                yield season, str(figure), lag, means[:, at]


def detrended(growth: np.ndarray, figure: np.ndarray, time: np.ndarray) -> dict[str, object]:
    """Pearson's r of both, detrended over ``time``; ``n``, ``r``, bounds and ``p``."""
    known = np.isfinite(growth) & np.isfinite(figure)
    n = int(known.sum())
    nothing = dict.fromkeys(("r", "low", "high", "p"), math.nan)
    none: dict[str, object] = {"n": n, **nothing}
    if n < FEWEST_PERIODS:
        return none
    design = np.column_stack([np.ones(n), time[known] - time[known].mean()])
    both = np.column_stack([growth[known], figure[known]])
    left = both - design @ np.linalg.lstsq(design, both, rcond=None)[0]
    if (np.ptp(left, axis=0) <= 1e-9 * np.maximum(np.abs(both).max(axis=0), 1e-300)).any():
        return none
    r = float(np.corrcoef(left.T)[0, 1])
    within = min(max(r, -1 + 1e-12), 1 - 1e-12)
    freedom = n - 3  # mean, trend and correlation
    p = float(2 * stats.t.sf(abs(within) * math.sqrt(freedom / (1 - within**2)), freedom))
    low, high = fisher(within, n - 1)
    return {"n": n, "r": r, "low": low, "high": high, "p": p}


def fisher(r: float, n: int) -> tuple[float, float]:
    """Bounds of a correlation of ``n`` pairs, 95 % (R. A. Fisher's z)."""
    half = NormalDist().inv_cdf(0.975) / math.sqrt(n - 3)
    return math.tanh(math.atanh(r) - half), math.tanh(math.atanh(r) + half)


def corrected(table: pd.DataFrame) -> pd.DataFrame:
    """The table with ``p_corrected`` for all its tries together, and each row in words."""
    tried = table["p"].notna()
    table = table.assign(p_corrected=np.nan, told="")
    table["told"] = table["told"].astype(object)
    if tried.any():
        found = multipletests(table.loc[tried, "p"].to_numpy(dtype=np.float64), method="holm")[1]
        table.loc[tried, "p_corrected"] = found
    count = int(tried.sum())
    holds = table["p_corrected"] < LABEL_P
    table["told"] = np.select(
        [holds, tried],
        [
            f"Holds when corrected for the {count} figures that were tried; it shows no cause.",
            f"Exploratory: of {count} figures that were tried, chance alone could give this.",
        ],
        f"Fewer than {FEWEST_PERIODS} periods with both, or a figure does not vary.",
    )
    return table[COLUMNS]
