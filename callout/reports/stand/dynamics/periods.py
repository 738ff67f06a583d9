"""Good and bad periods of growth: labelled only if a test over plots says so.

A period lies between two consecutive censuses. Plots are the units: each plot's growth less its own
mean, in a layout of plots by periods; the residuals show how far a period may be off by chance,
corrected for the number of periods (S. Holm). No climate data are used here.
"""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.multitest import multipletests

from callout.reports.stand.sampling import FEWEST_PLOTS, FEWEST_STEMS, LABEL_P, t_quantile

FEWEST_PERIODS = 5
FEW_PERIODS = f"fewer than {FEWEST_PERIODS} periods"
FEW_PLOTS = f"fewer than {FEWEST_PLOTS} plots with {FEWEST_STEMS} stems in every period"


def judged_periods(pairs: pd.DataFrame, plots: object = None) -> pd.DataFrame:
    """Good and bad periods, from ``increments``; ``plots`` (a collection) limits the plots.

    Periods do not overlap: those with most stems in all are chosen. Columns ``from_census``,
    ``to_census``, ``years`` (as 2012-2016), ``stems``, ``plots`` (measured in every period),
    ``diameter_cm_year`` (mean of the plots, or of the stems if there are too few plots),
    ``anomaly_cm_year`` (less the mean of the periods) with ``low`` and ``high`` (95 %, single),
    ``p_corrected``, ``judged``: good, bad or ordinary, 'not judged' with the reason in ``why``.
    """
    rows = pairs[pairs["same_height"]]
    if plots is not None:
        rows = rows[rows["plot"].isin(list(plots))]  # type: ignore[call-overload]
    keys = ["from_census", "to_census"]
    of_plot = rows.groupby(["plot", *keys], observed=True)["diameter_cm_year"]
    parts = of_plot.agg(stems="size", total="sum").reset_index()
    table = parts.groupby(keys, observed=True)[["stems", "total"]].sum().reset_index()
    table = table.iloc[_apart(table)].sort_values("from_census").reset_index(drop=True)
    told = [years_told(row.from_census, row.to_census) for row in table.itertuples()]
    table.insert(2, "years", pd.Series(told, dtype=object))
    table["diameter_cm_year"] = table.pop("total") / table["stems"]
    parts = parts[parts["stems"] >= FEWEST_STEMS]
    parts = parts.assign(mean=parts["total"] / parts["stems"]).merge(table[keys], on=keys)
    layout = parts.pivot_table(index="plot", columns=keys, values="mean", observed=True)
    layout = layout.dropna() if layout.shape[1] == len(table) else layout.iloc[:0]
    return _judged(table, layout.to_numpy(dtype=np.float64))


def _judged(table: pd.DataFrame, layout: np.ndarray) -> pd.DataFrame:
    """Labels for the periods of ``layout`` (plots, periods), a two-way layout without gaps."""
    count, periods = layout.shape[0], len(table)
    table["plots"] = count
    why = FEW_PERIODS if periods < FEWEST_PERIODS else FEW_PLOTS if count < FEWEST_PLOTS else ""
    if why:
        return table.assign(
            anomaly_cm_year=np.nan,
            low=np.nan,
            high=np.nan,
            p_corrected=np.nan,
            judged="not judged",
            why=why,
        )
    means = layout.mean(axis=0)
    anomaly = means - means.mean()
    left = layout - layout.mean(axis=1, keepdims=True) - anomaly
    freedom = (count - 1) * (periods - 1)
    error = np.sqrt((left**2).sum() / freedom * (1 - 1 / periods) / count)
    if not error > 0:
        error = np.finfo(float).tiny
    p = 2 * stats.t.sf(np.abs(anomaly) / error, freedom)
    corrected = multipletests(p, method="holm")[1]
    half = float(t_quantile(freedom)) * error
    sure = corrected < LABEL_P
    return table.assign(
        diameter_cm_year=means,
        anomaly_cm_year=anomaly,
        low=anomaly - half,
        high=anomaly + half,
        p_corrected=corrected,
        judged=np.select([sure & (anomaly > 0), sure & (anomaly < 0)], ["good", "bad"], "ordinary"),
        why="",
    )


def years_told(from_census: int, to_census: int) -> str:
    """The years that growth between two censuses belongs to."""
    first = from_census + 1
    return str(first) if first == to_census else f"{first}\N{EN DASH}{to_census}"


def _apart(table: pd.DataFrame) -> list[int]:
    """Non-overlapping periods with most stems in all (weighted interval scheduling)."""
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
