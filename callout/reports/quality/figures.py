"""Figures of a quality check: differences against size, and bias by group. Drawn in one unit."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd

from callout.core.units import Unit
from callout.reports.figures.style import DASHES, INK, MARKERS, SHADES, figure, png, short
from callout.reports.quality.agreement import Tolerance, agreement
from callout.reports.quality.pairs import Pair


def agreement_figure(pairs: list[Pair], tolerance: Tolerance) -> bytes:
    """Each difference against the pair's mean size, with bias, limits and tolerance."""
    unit = Unit(pairs[0].unit)
    sizes = [pair.size for pair in pairs]
    figures = agreement([pair.difference for pair in pairs], sizes)
    with figure(3.8) as (made, axes):
        names = sorted({(pair.first.who, pair.second.who) for pair in pairs})
        for at, (first, second) in enumerate(names):
            own = [pair for pair in pairs if (pair.first.who, pair.second.who) == (first, second)]
            axes.plot(
                [float(pair.size) for pair in own],
                [float(pair.difference) for pair in own],
                linestyle="",
                marker=MARKERS[at % len(MARKERS)],
                color=SHADES[at % len(SHADES)],
                markeredgecolor=INK,
                label=short(f"{first}, then {second}"),
            )
        axes.axhline(figures.bias, color=INK, linewidth=1.2, label="bias")
        if np.isfinite(figures.sd):
            axes.axhline(figures.limits.low, color=INK, linestyle="--", label="limits of agreement")
            axes.axhline(figures.limits.high, color=INK, linestyle="--")
        _draw_tolerance(axes, sizes, tolerance, unit)
        axes.set_xlabel(f"mean of both, {unit.value}")
        axes.set_ylabel(f"second minus first, {unit.value}")
        axes.legend(ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.16), fontsize=8)
        return png(made)


def _draw_tolerance(axes: object, sizes: list[Decimal], tolerance: Tolerance, unit: Unit) -> None:
    """A staircase: tolerance widens with every step of size."""
    low, high = float(min(sizes)) * 0.95, float(max(sizes)) * 1.05
    line = np.linspace(low, high, 400)
    allowed = [float(tolerance.allowed(Decimal(f"{size:.4f}"), unit)) for size in line]
    draw = axes.plot  # type: ignore[attr-defined]
    draw(line, allowed, linestyle=DASHES[3], color=SHADES[2], label="tolerance")
    draw(line, [-one for one in allowed], linestyle=DASHES[3], color=SHADES[2])


def by_group_figure(figures: pd.DataFrame, unit: str) -> bytes:
    """Bias of each group with its limits of agreement; groups of one pair show their difference."""
    rows = figures.iloc[::-1].reset_index(drop=True)
    with figure(max(2.0, 0.9 + 0.32 * len(rows))) as (made, axes):
        at = np.arange(len(rows))
        spread = (rows["limit_high"] - rows["bias"]).fillna(0.0).to_numpy(dtype=np.float64)
        axes.errorbar(
            rows["bias"],
            at,
            xerr=spread,
            fmt=MARKERS[0],
            color=SHADES[1],
            ecolor=INK,
            markeredgecolor=INK,
            capsize=3,
        )
        axes.axvline(0, color=INK, linewidth=0.6)
        names = [f"{short(row.group)} (n {row.n})" for row in rows.itertuples()]
        axes.set_yticks(at, names, fontsize=8)
        axes.set_ylim(-0.6, len(rows) - 0.4)
        axes.set_xlabel(f"bias and limits of agreement, {unit}")
        return png(made)
