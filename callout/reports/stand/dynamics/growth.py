"""Growth of each stem between its measurements, and its means by plot, year and species.

Only pairs of live diameters at the same height of measurement count; pairs at different heights are
kept and marked, since part of their change is due to the height. Shrinkage stays in: leaving out
negative growth would bias every mean upward.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from callout.reports.stand.columns import STEM
from callout.reports.stand.formulas import basal_area_m2, log_rate, years_between
from callout.reports.stand.sampling import FEWEST_PLOTS, FEWEST_STEMS, plot_jackknife, t_quantile

TOO_FEW_STEMS = f"fewer than {FEWEST_STEMS} stems: no interval"
TOO_FEW_PLOTS = f"fewer than {FEWEST_PLOTS} plots: no interval"
ALL_MOVED = "every stem was measured at another height than before: no growth can be told"
_HEIGHT_SLACK_M = 0.005


def increments(stems: pd.DataFrame) -> pd.DataFrame:
    """One row per stem and pair of following measured censuses of ``stems`` (from ``stem_census``).

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
    """Mean annual increments per plot and pair of censuses, with 95 % intervals of the mean.

    Student's t over the stems; none below five. ``moved`` stems, measured at another height than
    before, are left out; if none remain, the row has no figure. ``why`` says so.
    """
    keys = ["plot", "from_census", "to_census"]
    table = _means(pairs[pairs["same_height"]], keys)
    moved = pairs.assign(moved=~pairs["same_height"].astype(bool))
    counts = moved.groupby(keys, observed=True)["moved"].sum().reset_index()
    table = counts.merge(table, how="left", on=keys)
    table["stems"] = table["stems"].fillna(0).astype(np.int64)
    table["moved"] = table["moved"].astype(np.int64)
    table["why"] = np.select(
        [table["stems"] == 0, table["stems"] < FEWEST_STEMS], [ALL_MOVED, TOO_FEW_STEMS], ""
    )
    front = [*keys, "stems", "moved"]
    return table[[*front, *(name for name in table.columns if name not in front)]]


def growth_of_site(by_plot: pd.DataFrame) -> pd.DataFrame:
    """Mean annual diameter growth over the plots of ``growth_by_plot``, the plot as the unit.

    ``from_census``, ``to_census``, ``plots`` (of five stems or more), ``mean``, ``low``, ``high``
    (Student's t over plots, none below three), ``why``.
    """
    usable = by_plot[by_plot["stems"] >= FEWEST_STEMS]
    grouped = usable.groupby(["from_census", "to_census"], observed=True)["diameter_cm_year"]
    table = grouped.agg(plots="count", mean="mean", spread="std").reset_index()
    enough = table["plots"] >= FEWEST_PLOTS
    half = t_quantile(table["plots"] - 1) * table.pop("spread") / np.sqrt(table["plots"])
    table["low"] = (table["mean"] - half).where(enough)
    table["high"] = (table["mean"] + half).where(enough)
    table["why"] = np.where(enough, "", TOO_FEW_PLOTS)
    return table


def growth_by_year(pairs: pd.DataFrame, by: tuple[str, ...] = ("species",)) -> pd.DataFrame:
    """Mean annual growth in each census year, optionally ``by`` further columns.

    An interval of several years gives each of them the same growth; ``spread`` is the share of such
    stems, and where it is high a single year cannot be told from its neighbours. Unless ``by``
    names the plot, the interval takes plots as the units (delete-one jackknife, t).
    """
    usable = pairs[pairs["same_height"]]
    usable = usable[["plot", "species", "from_census", "to_census", *_FIGURES]]
    # Every stem of a plot and species counts once; the years of an interval are then few rows.
    keys = ["plot", "species", "from_census", "to_census"]
    parts = _sums(usable, keys)
    span = (parts["to_census"] - parts["from_census"]).to_numpy(dtype=np.int64)
    rows = parts.loc[parts.index.repeat(span)].reset_index(drop=True)
    ends = np.cumsum(span)
    offset = np.arange(len(rows)) - np.repeat(ends - span, span)
    rows["year"] = rows["from_census"].to_numpy() + 1 + offset
    rows["spread"] = np.repeat(span > 1, span) * rows["stems"]
    grouped = rows.groupby(["year", *by], observed=True)
    table = grouped[["stems", "diameter", "square", "relative", "area", "spread"]].sum()
    table = table.reset_index()
    table["spread"] = table["spread"] / table["stems"]
    mean = table["diameter"] / table["stems"]
    if "plot" in by:
        half = _half_by_stems(table)
    else:
        half = plot_jackknife(rows, ["year", *by], "diameter", "stems").to_numpy()
    table["diameter_cm_year"], table["low_cm_year"] = mean, mean - half
    table["high_cm_year"], table["basal_area_m2_year"] = mean + half, table["area"]
    table["relative_year"] = table["relative"] / table["stems"]
    return table[["year", *by, "stems", *_SHOWN, "spread"]]


_FIGURES = ("diameter_cm_year", "basal_area_m2_year", "relative_year")
_SHOWN = ("diameter_cm_year", "low_cm_year", "high_cm_year", "basal_area_m2_year", "relative_year")


def _sums(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Stems of each group, and the sums that means and their intervals are made of."""
    growth = rows["diameter_cm_year"].to_numpy(dtype=np.float64)
    figures = rows[keys].assign(
        stems=1,
        diameter=growth,
        square=growth * growth,
        relative=rows["relative_year"],
        area=rows["basal_area_m2_year"],
    )
    return figures.groupby(keys, observed=True).sum().reset_index()


def _half_by_stems(table: pd.DataFrame) -> pd.Series:
    """Half the 95 % interval of each mean over stems; NaN below five of them."""
    n = table["stems"]
    squares = (table["square"] - table["diameter"] ** 2 / n).clip(lower=0)
    half = t_quantile(n - 1) * np.sqrt(squares / (n - 1).clip(lower=1) / n)
    return half.where(n >= FEWEST_STEMS)


def _means(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    table = _sums(rows, keys)
    mean, half = table["diameter"] / table["stems"], _half_by_stems(table)
    shown = table[[*keys, "stems"]].assign(
        diameter_cm_year=mean,
        low_cm_year=mean - half,
        high_cm_year=mean + half,
        basal_area_m2_year=table["area"],
        relative_year=table["relative"] / table["stems"],
    )
    return shown
