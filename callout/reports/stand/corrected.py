"""Diameters corrected for computation: the bias of rounding down, and a tape's offset.

A reading rounded down is half a graduation too low on average; a tape whose scale begins in the
wrong place reads the same amount too much everywhere. Both are corrected here, by the day, for
figures only: what was recorded is never changed.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from callout.reports.stand.history import CM_PER_UNIT, PlotFacts

GRADUATION_CM = {"in": 0.254, "cm": 0.1, "mm": 0.1}  # a tenth, if nothing gives the graduation
DOWN, NEAREST = "down", "nearest"


def corrected(
    measurements: pd.DataFrame, facts: PlotFacts, otherwise: str = NEAREST
) -> pd.DataFrame:
    """``measurements`` with ``diameter_cm`` free of bias, and ``step_cm`` and ``rounded`` (how).

    Graduation and rounding are the row's own, else the history's of that day, else those of the
    plot's row before it, else of the next, else the plot's now, else a tenth of the unit and
    ``otherwise``. A girth's graduation counts for its diameter by pi. ``measured_height_m``, where
    a row tells none, is the plot's on that day.
    """
    on_day = facts.on(measurements["plot"], measurements["date"])
    rounded = _told(measurements, on_day["rounding"], "rounding", facts.history).fillna(otherwise)
    step = _step_cm(measurements, on_day["graduation"], facts.history)
    shift = np.where(rounded == DOWN, step / 2, 0.0) - on_day["offset_cm"].fillna(0.0)
    height = measurements["measured_height_m"].astype("float64")
    return measurements.assign(
        diameter_cm=measurements["diameter_cm"].astype("float64") + shift,
        measured_height_m=height.fillna(on_day["breast_height_m"]),
        step_cm=step,
        rounded=rounded.astype("category"),
    )


def _told(
    measurements: pd.DataFrame, on_day: pd.Series, name: str, history: pd.DataFrame | None
) -> pd.Series:
    """The text in force for each row.

    The row's own, else the history's of that day, else that of the plot's row before it, else of
    the first after it, else the plot's now.
    """
    given = on_day.astype(object).replace("", None)
    if name not in measurements.columns:
        return given
    told = measurements[name].astype(object).replace("", None)
    if history is not None:
        known = history.loc[history[name].astype(str) != "", "plot"].astype(object).unique()
        by_day = told.isna() & measurements["plot"].isin(known)
        told = told.where(~by_day, given)
    if told.isna().any() and told.notna().any():
        told = _by_neighbours(told, measurements)
    return told.where(told.notna(), given)


def _by_neighbours(told: pd.Series, measurements: pd.DataFrame) -> pd.Series:
    """In order of days; rows of the same day without a text take it from those that have one."""
    order = np.lexsort((told.isna(), measurements["date"], pd.factorize(measurements["plot"])[0]))
    plot = measurements["plot"].iloc[order]
    before = told.iloc[order].groupby(plot, observed=True).ffill()
    return before.groupby(plot, observed=True).bfill().reindex(told.index)


def _step_cm(
    measurements: pd.DataFrame, on_day: pd.Series, history: pd.DataFrame | None
) -> pd.Series:
    unit = measurements["unit"]
    told = _told(measurements, on_day, "graduation", history)
    codes, different = pd.factorize(told)
    figures = np.append(pd.to_numeric(pd.Series(different, dtype=object), errors="coerce"), np.nan)
    step = pd.Series(figures[codes].astype(np.float64), index=told.index)
    step = step * unit.map(CM_PER_UNIT).astype("float64")
    step = step.fillna(unit.map(GRADUATION_CM).astype("float64")).fillna(0.1)
    if "raw_unit" in measurements.columns:
        girth = measurements["raw_unit"].astype(str).str.endswith("girth")
        step = step.where(~girth, step / math.pi)
    return step


def told_of_rounding(rows: pd.DataFrame) -> list[str]:
    """A caution for plots read under more than one rounding, or rounded down throughout."""
    live = rows[rows["diameter_cm"].notna()]
    kinds = live.groupby("plot", observed=True)["rounded"].agg(lambda own: set(own))
    told = []
    both = [str(plot) for plot, kind in kinds.items() if len(kind) > 1]
    down = [str(plot) for plot, kind in kinds.items() if DOWN in kind]
    if both:
        told.append(
            f"Rounding changed between censuses in {_some(both)}: half a graduation is added to "
            "what was rounded down, so that the step is not taken for growth."
        )
    elif down:
        told.append(
            f"Readings in {_some(down)} were rounded down: figures add half a graduation to each, "
            "which is what they lack on average."
        )
    return told


def _some(names: list[str], most: int = 8) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
