"""Intervals over stems and over plots: Student's t, and the jackknife for plots of unequal weight.

Measurements in one plot are correlated, so a mean over a site takes plots as its units. Below
``FEWEST_STEMS`` stems or ``FEWEST_PLOTS`` plots there is no interval at all.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from callout.reports.stand.formulas import Floats

FEWEST_STEMS = 5
FEWEST_PLOTS = 3
LEVEL = 0.95
# Below this corrected p a period gets a label, or a climate figure is said to hold: one in forty
# tables of pure noise then has one.
LABEL_P = 0.025


def t_quantile(freedom: Any, level: float = LEVEL) -> Any:
    """Student's t for a two-sided interval with ``freedom`` degrees; NaN below one."""
    degrees = np.asarray(freedom, dtype=np.float64)
    return np.where(degrees >= 1, stats.t.ppf((1 + level) / 2, np.maximum(degrees, 1)), np.nan)


def plot_jackknife(
    rows: pd.DataFrame, keys: list[str], total: str, count: str, level: float = LEVEL
) -> pd.Series:
    """Half the interval of sum(``total``) / sum(``count``) in each group of ``keys``.

    Each plot is left out in turn. Student's t with one degree of freedom fewer than the effective
    number of plots, (sum n)^2 / sum n^2 (Kish's effective size). NaN below three plots.
    """
    parts = rows.groupby([*keys, "plot"], observed=True)[[total, count]].sum().reset_index()
    grouped = parts.groupby(keys, observed=True)
    whole = grouped[[total, count]].transform("sum")
    plots = grouped["plot"].transform("size")
    with np.errstate(invalid="ignore", divide="ignore"):
        without = (whole[total] - parts[total]) / (whole[count] - parts[count])
        ratio = whole[total] / whole[count]
        squares = (without - ratio) ** 2 * (plots - 1) / plots
    alike = (parts[count] / whole[count]) ** 2
    table = parts[keys].assign(squares=squares, plots=plots, alike=alike)
    found = table.groupby(keys, observed=True).agg(
        squares=("squares", "sum"), plots=("plots", "first"), alike=("alike", "sum")
    )
    freedom = np.maximum(1 / found["alike"] - 1, 1.0)
    half = t_quantile(freedom, level) * np.sqrt(found["squares"])
    return pd.Series(half, index=found.index).where(found["plots"] >= FEWEST_PLOTS)


def mean_interval(values: Floats, level: float = LEVEL) -> tuple[float, float, float]:
    """The mean of ``values`` and its interval by Student's t; NaN bounds below three of them."""
    n = len(values)
    mean = float(np.mean(values)) if n else float("nan")
    if n < FEWEST_PLOTS:
        return mean, float("nan"), float("nan")
    half = float(t_quantile(n - 1, level)) * float(np.std(values, ddof=1)) / np.sqrt(n)
    return mean, mean - half, mean + half
