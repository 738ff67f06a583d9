"""Figures of the measuring itself: stems measured again, and what was measured when."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from callout.reports.figures.style import INK, MARKERS, SHADES, Drawing, drawing, figure, short
from callout.reports.stand.columns import CUT, DEAD, STATUSES
from callout.reports.stand.mass.reading_errors import ErrorModel

MOST_ROWS = 400
_LETTERS = 120  # up to this many rows a letter fits into each cell
# Each state's letter and shade, dead dark, measured light, so that grey is enough.
_STATES = {
    "measured": ("", "#a9cce3"),
    "live, not measured": ("u", "#f5e6b8"),
    "dead standing": ("s", "#4d5f82"),
    "dead down": ("d", "#1b2a4a"),
    "cut": ("c", "#b5651d"),
    "missing": ("m", "#d9d9d9"),
    "not found": ("n", "#ececec"),
    "no record": ("", "#ffffff"),
}


def measured_again(pairs: pd.DataFrame, error: ErrorModel) -> Drawing:
    """Difference of each pair against its size, with the lines that 95 % should lie within."""
    size = ((pairs["first_cm"] + pairs["second_cm"]) / 2).to_numpy(dtype=np.float64)
    with figure() as (made, axes):
        axes.plot(
            size,
            pairs["difference_cm"] * 10,
            linestyle="",
            marker=MARKERS[0],
            color=SHADES[1],
            markeredgecolor=INK,
            label=f"{len(pairs)} stems measured again",
        )
        line = np.linspace(size.min() * 0.95, size.max() * 1.05, 50)
        # The difference of two measurements has sqrt 2 times the deviation of one.
        half = 1.96 * np.sqrt(2) * error.sd_cm(line) * 10
        axes.plot(line, half, "--", color=INK, label="95 % expected within")
        axes.plot(line, -half, "--", color=INK)
        axes.axhline(0, color=INK, linewidth=0.6)
        axes.set_xlabel("diameter, cm")
        axes.set_ylabel("second minus first, mm")
        axes.legend(ncols=2, loc="upper center", bbox_to_anchor=(0.5, -0.18))
        return drawing(made)


def measured_when(stems: pd.DataFrame) -> Drawing:
    """One plot's stems by census: one cell each, its shade and letter telling the state."""
    states = list(_STATES)
    of_several = stems["stem"].astype(str).map(lambda stem: f"/{stem}" if stem else "")
    name = stems["tag"].astype(str) + of_several
    told = np.where(stems["measured"], "measured", stems["status"].astype(object))
    told = np.where(told == STATUSES[0], "live, not measured", told)
    code = pd.Series([states.index(state) for state in told], index=stems.index)
    grid = (
        pd.DataFrame({"name": name, "census": stems["census"], "code": code})
        .pivot_table(index="name", columns="census", values="code", aggfunc="last")
        .fillna(states.index("no record"))
    )
    grid = grid.loc[sorted(grid.index, key=_natural)].head(MOST_ROWS)
    height = min(9.0, 1.6 + 0.16 * len(grid))
    with figure(height) as (made, axes):
        from matplotlib.colors import ListedColormap
        from matplotlib.patches import Patch

        shades = ListedColormap([shade for _, shade in _STATES.values()])
        axes.pcolormesh(
            grid.to_numpy(),
            cmap=shades,
            vmin=-0.5,
            vmax=len(states) - 0.5,
            edgecolors="white" if len(grid) <= 120 else "none",
            linewidth=0.5,
        )
        axes.invert_yaxis()
        axes.set_xticks(np.arange(grid.shape[1]) + 0.5, [str(year) for year in grid.columns])
        step = max(1, len(grid) // 60)
        axes.set_yticks(
            np.arange(0, len(grid), step) + 0.5,
            [short(tag, 12) for tag in grid.index[::step]],
            fontsize=7,
        )
        axes.set_xlabel("census")
        axes.set_ylabel("tag")
        if len(grid) <= _LETTERS:
            _letters(axes, grid, states)
        used = sorted({int(item) for item in np.unique(grid.to_numpy())})
        axes.legend(
            handles=[
                Patch(facecolor=_STATES[states[at]][1], edgecolor=INK, label=_label(states[at]))
                for at in used
            ],
            ncols=4,
            loc="lower left",
            bbox_to_anchor=(0, 1.0),
            fontsize=8,
        )
        return drawing(made)


def _letters(axes: Any, grid: pd.DataFrame, states: list[str]) -> None:
    dark = {*DEAD, CUT}
    for (row, column), code in np.ndenumerate(grid.to_numpy().astype(int)):
        letter = _STATES[states[code]][0]
        if letter:
            axes.text(
                column + 0.5,
                row + 0.5,
                letter,
                ha="center",
                va="center",
                fontsize=7 if len(grid) <= 70 else 5,
                color="white" if states[code] in dark else INK,
            )


def _label(state: str) -> str:
    letter = _STATES[state][0]
    return f"{state} ({letter})" if letter else state


def _natural(tag: str) -> tuple[int, int, str]:
    digits = tag.split("/")[0]
    return (0, int(digits), tag) if digits.isascii() and digits.isdigit() else (1, 0, tag)
