"""Figures of the stand: sizes, growth by year, carbon through time, components of change.

Each takes a table of ``reports.stand`` already cut to what it shows and returns a drawing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from callout.reports.figures.style import (
    DASHES,
    HATCHES,
    INK,
    MARKERS,
    SHADES,
    Drawing,
    drawing,
    figure,
    short,
)
from callout.reports.stand.dynamics.change import COMPONENTS

MOST_SPECIES = 4
_TOLD = {
    "survivor_growth": "growth of survivors",
    "ingrowth": "new stems",
    "found_again": "found again",
    "scope": "area or smallest size",
    "mortality": "died",
    "cut": "cut",
    "lost": "not found",
    "unmeasured": "not measured",
}


def diameter_distribution(classes: pd.DataFrame) -> Drawing:
    """Censuses of one plot side by side (``summary.diameter_classes``), at most four of them."""
    censuses = sorted(classes["census"].unique())
    column = "stems_per_ha" if classes["stems_per_ha"].notna().all() else "stems"
    last = len(censuses) - 1
    picked = sorted({round(last * at / 3) for at in range(4)}) if last > 3 else range(last + 1)
    shown = [censuses[at] for at in picked]
    with figure() as (made, axes):
        span = (classes["class_to_cm"] - classes["class_from_cm"]).iloc[0]
        width = span / (len(shown) + 0.3)
        for at, census in enumerate(shown):
            rows = classes[classes["census"] == census]
            axes.bar(
                rows["class_from_cm"] + (at + 0.65) * width,
                rows[column],
                width * 0.95,
                label=str(census),
                edgecolor=INK,
                linewidth=0.8,
                color=SHADES[(4, 3, 1, 0)[at + 4 - len(shown)]],
                hatch=HATCHES[(1, 2, 3, 0)[at + 4 - len(shown)]],
            )
        axes.set_xlabel(f"diameter, cm (classes of {span:g} cm)")
        axes.set_ylabel("live stems a hectare" if column == "stems_per_ha" else "live stems")
        axes.legend(title="census")
        return drawing(made)


def growth_by_year(table: pd.DataFrame) -> Drawing:
    """Mean annual diameter growth of the commonest species, with 95 % intervals of the mean.

    Years that were not measured singly share one line with one mark and one interval.
    """
    common = table.groupby("species")["stems"].sum().sort_values(ascending=False)
    names = list(common.index[:MOST_SPECIES])
    with figure() as (made, axes):
        for at, name in enumerate(names):
            runs = _runs(table[table["species"] == name].sort_values("year"))
            aside = (at - (len(names) - 1) / 2) * 0.16
            middle = (runs["first"] + runs["last"]) / 2 + aside
            axes.hlines(
                runs["growth"] * 10,
                runs["first"] - 0.4,
                runs["last"] + 0.4,
                colors=SHADES[at],
                linewidth=1.8,
                linestyles=DASHES[at],
            )
            # An interval needs two stems; a single one is drawn without.
            errors = (runs["high"] - runs["growth"]).fillna(0) * 10
            axes.errorbar(
                middle,
                runs["growth"] * 10,
                yerr=errors,
                capsize=3,
                linestyle="",
                color=SHADES[at],
                marker=MARKERS[at],
                markeredgecolor=INK,
                linewidth=1.4,
                label=short(str(name) or "species not told"),
            )
        axes.axhline(0, color=INK, linewidth=0.6)
        _whole_years(axes, table["year"])
        axes.margins(y=0.06)  # a line at the top keeps its whole width
        axes.set_ylabel("diameter growth, mm a year")
        left_out = len(common) - len(names)
        title = f"species ({left_out} rarer not shown)" if left_out > 0 else "species"
        axes.legend(title=title, ncols=2, loc="upper center", bbox_to_anchor=(0.5, -0.18))
        return drawing(made)


def _runs(rows: pd.DataFrame) -> pd.DataFrame:
    """Years of one species that share one interval of measuring, as ``first`` to ``last``."""
    same = (
        (rows["spread"] > 0)
        & (rows["diameter_cm_year"].diff().abs() < 1e-12)
        & (rows["stems"].diff() == 0)
        & (rows["year"].diff() == 1)
    )
    grouped = rows.groupby((~same).cumsum().to_numpy())
    return grouped.agg(
        first=("year", "min"),
        last=("year", "max"),
        growth=("diameter_cm_year", "first"),
        high=("high_cm_year", "first"),
    )


def carbon_through_time(table: pd.DataFrame) -> Drawing:
    """Carbon of each plot with its Monte Carlo interval (``uncertainty.carbon_intervals``)."""
    dense = table["carbon_t_ha"].notna().any()
    figures = (
        ("carbon_t_ha", "low_t_ha", "high_t_ha") if dense else ("carbon_kg", "low_kg", "high_kg")
    )
    with figure() as (made, axes):
        for at, (name, rows) in enumerate(table.groupby("plot", observed=True)):
            middle, low, high = (rows[column].to_numpy(dtype=np.float64) for column in figures)
            # The curve's own figure may lie outside if the equation is taken for a median.
            errors = np.maximum(0, np.array([middle - low, high - middle]))
            axes.errorbar(
                rows["census"] + 0.05 * at,
                middle,
                yerr=errors,
                capsize=4,
                linewidth=1.6,
                color=SHADES[at % 5],
                marker=MARKERS[at % 6],
                linestyle=DASHES[at % 6],
                label=short(str(name)),
                markeredgecolor=INK,
            )
        axes.set_ylim(bottom=0)
        _whole_years(axes, table["census"], "census")
        axes.set_ylabel("carbon, Mg C ha⁻¹" if dense else "carbon, kg")
        if table["plot"].nunique() > 1:
            axes.legend(title="plot", ncols=4, loc="upper center", bbox_to_anchor=(0.5, -0.18))
        return drawing(made)


def change_components(table: pd.DataFrame, unit: str = "m²") -> Drawing:
    """Components of change of one plot: gains above the line, losses below, net as a mark."""
    labels = [f"{row.from_census}\nto {row.to_census}" for row in table.itertuples()]
    place = np.arange(len(table))
    with figure() as (made, axes):
        up, down = np.zeros(len(table)), np.zeros(len(table))
        for at, (name, sign) in enumerate(COMPONENTS.items()):
            amount = sign * table[name].astype("float64").to_numpy()
            if not amount.any():
                continue
            base = np.where(amount >= 0, up, down)
            axes.bar(
                place,
                amount,
                0.55,
                bottom=base,
                label=_TOLD[name],
                edgecolor=INK,
                color=SHADES[(1, 4, 5, 2, 0, 2, 3, 5)[at]],
                hatch=HATCHES[at],
                linewidth=0.8,
            )
            up, down = up + np.maximum(amount, 0), down + np.minimum(amount, 0)
        net = table["net"].astype("float64")
        axes.plot(
            place,
            net,
            linestyle="",
            marker="D",
            color="white",
            markeredgecolor=INK,
            markersize=9,
            markeredgewidth=1.8,
            label="net change",
        )
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.set_xticks(place, labels)
        axes.set_xlim(-0.6, len(table) - 0.4)
        axes.use_sticky_edges = False  # otherwise a stacked bar ends on the frame
        axes.margins(y=0.06)
        axes.set_ylabel(f"change in {unit}")
        axes.legend(ncols=4, loc="upper center", bbox_to_anchor=(0.5, -0.16))
        return drawing(made)


def _whole_years(axes: Any, years: pd.Series, label: str = "year") -> None:
    first, last = int(years.min()), int(years.max())
    step = max(1, -(-(last - first) // 10))
    censuses = sorted(set(years))
    few = label == "census" and len(censuses) <= 10
    axes.set_xticks(censuses if few else range(first, last + 1, step))
    axes.set_xlim(first - 0.6, last + 0.6)
    axes.set_xlabel(label)
