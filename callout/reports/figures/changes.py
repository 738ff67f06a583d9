"""Figures of change: mortality, composition, fluxes, and treatments side by side.

Each takes a table already cut to what it shows. Intervals are drawn if the table has them.
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

MOST_SPECIES = 5
_FLUXES = {
    "growth": ("growth of survivors", 1),
    "ingrowth": ("ingrowth", 1),
    "mortality": ("mortality", -1),
    "cut": ("cut", -1),
    "not_followed": ("not followed", 1),
    "scope": ("change of what is measured", 1),
}


def rates_through_time(table: pd.DataFrame) -> Drawing:
    """Mortality and recruitment between censuses, per cent a year, with their intervals.

    Takes table ``rates`` or ``rates_site``.
    """
    labels = _intervals(table)
    place = np.arange(len(table), dtype=np.float64)
    with figure() as (made, axes):
        for at, (name, words) in enumerate(
            (("mortality", "mortality"), ("recruitment", "recruitment"))
        ):
            middle = 100 * table[f"{name}_year"].astype("float64").to_numpy()
            low, high = (
                100 * table[f"{name}_{end}"].astype("float64").to_numpy()
                if f"{name}_{end}" in table.columns
                else middle
                for end in ("low", "high")
            )
            errors = np.nan_to_num(np.maximum(0, np.array([middle - low, high - middle])))
            axes.errorbar(
                place + (at - 0.5) * 0.16,
                middle,
                yerr=errors,
                capsize=4,
                linestyle="",
                color=SHADES[(0, 3)[at]],
                marker=MARKERS[at],
                markersize=7,
                markeredgecolor=INK,
                label=words,
            )
        axes.set_xticks(place, labels)
        axes.set_xlim(-0.6, len(table) - 0.4)
        axes.set_ylim(bottom=0)
        axes.set_ylabel("% a year, 95 % interval")
        axes.legend(ncols=2, loc="upper center", bbox_to_anchor=(0.5, -0.16))
        return drawing(made)


def composition(table: pd.DataFrame) -> Drawing:
    """Basal area by species at each census of one plot (table ``composition``)."""
    dense = table["basal_area_m2_ha"].notna().all()
    column = "basal_area_m2_ha" if dense else "basal_area_m2"
    whole = table.groupby("species", observed=True)[column].sum().sort_values(ascending=False)
    names = list(whole.index[:MOST_SPECIES])
    told = table["species"].astype(object)
    told = told.where(told.isin(names), "other species")
    grid = (
        table.assign(species=told)
        .pivot_table(index="census", columns="species", values=column, aggfunc="sum")
        .fillna(0.0)
    )
    place = np.arange(len(grid))
    with figure() as (made, axes):
        base = np.zeros(len(grid))
        others = [name for name in grid.columns if name not in names]
        for at, name in enumerate([*names, *others]):
            amount = grid[name].to_numpy(dtype=np.float64)
            axes.bar(
                place,
                amount,
                0.6,
                bottom=base,
                color=SHADES[at % 6],
                hatch=HATCHES[at % 7],
                edgecolor=INK,
                linewidth=0.8,
                label=short(str(name) or "species not told"),
            )
            base += amount
        axes.set_xticks(place, [str(census) for census in grid.index])
        axes.set_xlim(-0.6, len(grid) - 0.4)
        axes.set_xlabel("census")
        axes.set_ylabel("basal area, m² ha⁻¹" if dense else "basal area, m²")
        axes.legend(ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.18))
        return drawing(made)


def fluxes_between(table: pd.DataFrame, unit: str) -> Drawing:
    """Gains and losses between censuses, per hectare and year, net as a mark (table ``fluxes``)."""
    place = np.arange(len(table))
    with figure() as (made, axes):
        up, down = np.zeros(len(table)), np.zeros(len(table))
        for at, (name, (words, sign)) in enumerate(_FLUXES.items()):
            if name not in table.columns:
                continue
            amount = sign * table[name].astype("float64").fillna(0.0).to_numpy()
            if not amount.any():
                continue
            base = np.where(amount >= 0, up, down)
            axes.bar(
                place,
                amount,
                0.55,
                bottom=base,
                label=words,
                edgecolor=INK,
                linewidth=0.8,
                color=SHADES[(1, 4, 0, 2, 5, 3)[at]],
                hatch=HATCHES[at],
            )
            up, down = up + np.maximum(amount, 0), down + np.minimum(amount, 0)
        axes.plot(
            place,
            table["net"].astype("float64"),
            linestyle="",
            marker="D",
            color="white",
            markeredgecolor=INK,
            markersize=9,
            markeredgewidth=1.8,
            label="net",
        )
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.set_xticks(place, _intervals(table))
        axes.set_xlim(-0.6, len(table) - 0.4)
        axes.use_sticky_edges = False
        axes.margins(y=0.06)
        axes.set_ylabel(unit)
        axes.legend(ncols=4, loc="upper center", bbox_to_anchor=(0.5, -0.16))
        return drawing(made)


def treatments(table: pd.DataFrame, words: str) -> Drawing:
    """Means of one figure by treatment and period, plots as the units (``treatment_means``)."""
    periods = [str(name) for name in dict.fromkeys(table["period"])]
    names = list(dict.fromkeys(table["treatment"]))
    with figure(3.0) as (made, axes):
        for at, name in enumerate(names):
            rows = table[table["treatment"] == name]
            aside = (at - (len(names) - 1) / 2) * 0.12
            place = [periods.index(str(period)) + aside for period in rows["period"]]
            middle = rows["mean"].astype("float64").to_numpy()
            low, high = (rows[end].astype("float64").to_numpy() for end in ("low", "high"))
            errors = np.nan_to_num(np.maximum(0, np.array([middle - low, high - middle])))
            axes.errorbar(
                place,
                middle,
                yerr=errors,
                capsize=4,
                linewidth=1.4,
                color=SHADES[at % 5],
                linestyle=DASHES[at % 6] if len(periods) > 1 else "",
                marker=MARKERS[at % 6],
                markersize=7,
                markeredgecolor=INK,
                label=f"{short(str(name))} ({int(rows['plots'].max())} plots)",
            )
        axes.set_xticks(range(len(periods)), [period or "all censuses" for period in periods])
        axes.set_xlim(-0.6, len(periods) - 0.4)
        axes.set_ylabel(words)
        axes.legend(ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.14))
        return drawing(made)


def _intervals(table: pd.DataFrame) -> list[str]:
    rows: Any = zip(table["from_census"], table["to_census"], strict=True)
    return [f"{first}\nto {last}" for first, last in rows]
