"""The two frames that every computation takes, and the check that they are complete.

Floats here are derived figures for computation only; what was recorded stays as exact decimals in
the ``value`` column and is never changed. No computation here.
"""

from __future__ import annotations

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.statuses import Status

# Names of columns are texts too: as Arrow's, looking one up costs more than most computations here.
pd.options.mode.string_storage = "python"

# One row per measurement. ``value`` is the exact decimal as recorded, in ``unit``; ``diameter_cm``
# and ``measured_height_m`` (height of measurement) are floats, NaN for none.
MEASUREMENT_COLUMNS = (
    "plot",
    "tag",
    "stem",
    "species",
    "date",
    "value",
    "unit",
    "diameter_cm",
    "status",
    "measured_height_m",
    "source",
)
# One row per plot. ``area_ha`` may be NaN; ``treatment`` may be ''.
PLOT_COLUMNS = ("plot", "area_ha", "unit", "breast_height_m", "treatment")
# Beyond what computations need: lasting names, when and how it was measured, with what tape, and
# later warnings and rulings.
# All rows of a tree whose tag was replaced have its present tag, the roster's rows too.
FURTHER = (
    "measurement_id",
    "tree_id",
    "time",
    "who",
    "entered_by",
    "engine",
    "confidence",
    "words",
    "raw",
    "raw_unit",
    "graduation",
    "rounding",
    "warnings",
    "disagrees",
    "ruling",
    "recorder",
    "entry",
    "sound",
    "tag_note",
)
# What a plot is and how it is measured, beyond what computations need: texts.
PLOT_FURTHER = (
    "site",
    "shape",
    "established",
    "paint_line",
    "graduation",
    "rounding",
    "scale",
    "smallest",
    "largest",
)
STEM = ["plot", "tag", "stem"]
LIVE = Status.LIVE.words
STANDING = Status.DEAD_STANDING.words
DEAD = (STANDING, Status.DEAD_DOWN.words)
CUT = Status.CUT.words
LOST = (Status.MISSING.words, Status.NOT_FOUND.words)
STATUSES = tuple(status.words for status in Status)


def check_measurements(measurements: pd.DataFrame) -> None:
    """Raises OperatorError if columns, states or dates are not as this program uses them."""
    _whole(measurements, MEASUREMENT_COLUMNS, "measurements")
    strange = sorted(set(measurements["status"].unique()) - set(STATUSES))
    if strange:
        raise OperatorError(
            f"unknown status {strange[0]!r} in the measurements: use one of {', '.join(STATUSES)}"
        )
    if measurements["date"].isna().any():
        raise OperatorError("a measurement has no date: give each one the day it was taken")
    if (measurements["diameter_cm"] <= 0).any():
        raise OperatorError("a diameter is zero or below: leave it empty where there is none")


def check_plots(plots: pd.DataFrame) -> None:
    """Raises OperatorError for a missing column, a plot twice, or an area not above zero."""
    _whole(plots, PLOT_COLUMNS, "plots")
    twice = plots["plot"][plots["plot"].duplicated()]
    if len(twice):
        raise OperatorError(f"plot {twice.iloc[0]!r} is there twice: keep one row a plot")
    if (plots["area_ha"] <= 0).any():
        raise OperatorError("a plot's area is zero or below: give hectares, or leave it empty")


def _whole(frame: pd.DataFrame, columns: tuple[str, ...], name: str) -> None:
    lacking = [column for column in columns if column not in frame.columns]
    if lacking:
        raise OperatorError(f"the {name} lack the column {', '.join(lacking)}: add it")
