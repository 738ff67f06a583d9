"""The dated facts of a plot: its area, treatment, rounding and the rest, each from a date.

``plots`` holds what is true now; the history says from which day. A fact in the history is unknown
before its first date: until then there are no figures per hectare, and no treatment. Pure look-up
on frames; nothing is summed here.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.core.errors import OperatorError
from callout.reports.stand.formulas import CM_PER_INCH

NUMBERS = ("area_ha", "breast_height_m")
TEXTS = ("treatment", "graduation", "rounding", "scale", "smallest", "tape_offset")
HISTORY_COLUMNS = ("plot", "from_day", *NUMBERS, *TEXTS)
CM_PER_UNIT = {"in": CM_PER_INCH, "cm": 1.0, "mm": 0.1}
_DAY_SPAN = 1_000_000  # separates days within one plot's keys
_FIRST_DAY = -_DAY_SPAN // 2  # before every day that a frame can hold


def check_history(history: pd.DataFrame) -> None:
    """Raises OperatorError for a missing column, a repeated day, or an area not above zero."""
    lacking = [name for name in HISTORY_COLUMNS if name not in history.columns]
    if lacking:
        raise OperatorError(f"the plots' history lacks the column {', '.join(lacking)}: add it")
    twice = history.duplicated(["plot", "from_day"])
    if twice.any():
        row = history[twice].iloc[0]
        raise OperatorError(
            f"the history of plot {row['plot']} tells {row['from_day']:%Y-%m-%d} twice: keep one"
        )
    if (history["area_ha"] <= 0).any():
        raise OperatorError("a plot's area is zero or below: give hectares, or leave it empty")


class PlotFacts:
    """What held in each of ``plots`` on any day; ``history`` None or empty: always what holds now.

    Raises OperatorError as ``check_history`` does.
    """

    def __init__(self, plots: pd.DataFrame, history: pd.DataFrame | None = None) -> None:
        self.plots = plots
        self.history = None if history is None or history.empty else history
        states = _states(plots, self.history)
        self._names = pd.Index(states["plot"].unique())
        code = self._names.get_indexer(pd.Index(states["plot"]))
        self._keys = code * _DAY_SPAN + states["day"].to_numpy()
        self._states = states.drop(columns=["plot", "day"])

    def on(self, plot: pd.Series, day: pd.Series) -> pd.DataFrame:
        """One row for each of ``plot`` and ``day``, with the index of ``plot``.

        NUMBERS as floats, TEXTS, and ``smallest_cm`` and ``offset_cm``; NaN and '' if unknown.
        """
        if isinstance(plot.dtype, pd.CategoricalDtype):  # each distinct name is looked up once
            places = np.append(self._names.get_indexer(pd.Index(plot.cat.categories)), -1)
            code = places[plot.cat.codes.to_numpy()]
        else:
            code = self._names.get_indexer(pd.Index(plot.astype(object)))
        at = np.searchsorted(self._keys, code * _DAY_SPAN + _days(day), side="right") - 1
        found = self._states.iloc[np.where(code >= 0, at, 0)]
        found.index = plot.index
        if (code < 0).any():
            unknown = pd.Series(code < 0, index=plot.index)
            for name in found.columns:
                found[name] = found[name].mask(unknown, "" if name in (*TEXTS, "unit") else np.nan)
        return found


def _days(day: pd.Series) -> NDArray[np.int64]:
    return np.asarray(day.to_numpy("datetime64[D]").astype(np.int64), dtype=np.int64)


def _states(plots: pd.DataFrame, history: pd.DataFrame | None) -> pd.DataFrame:
    """One row per plot and day with a change, sorted, each complete in itself."""
    now = plots[["plot"]].astype(object).assign(day=np.int64(_FIRST_DAY))
    for name in NUMBERS:
        now[name] = _column(plots, name, np.nan).astype("float64")
    for name in (*TEXTS, "unit"):
        now[name] = _column(plots, name, "").astype(object)
    if history is not None:
        now = _with_history(now, history)
    per_unit = now["unit"].map(CM_PER_UNIT).astype("float64").fillna(1.0)
    for name, source in (("smallest_cm", "smallest"), ("offset_cm", "tape_offset")):
        now[name] = pd.to_numeric(now[source].replace("", np.nan), errors="coerce") * per_unit
    return now.reset_index(drop=True)


def _with_history(now: pd.DataFrame, history: pd.DataFrame) -> pd.DataFrame:
    check_history(history)
    told = history.assign(plot=history["plot"].astype(object), day=_days(history["from_day"]))
    told = told[told["plot"].isin(now["plot"])]
    for name in TEXTS:
        told[name] = told[name].astype(object).replace("", None)
    for name in (*NUMBERS, *TEXTS):
        # A fact that the history gives is unknown before its first day. A fact that it never gives
        # is always as now.
        ever = told.groupby("plot")[name].count()
        known = now["plot"].map(ever).fillna(0) > 0
        now[name] = now[name].mask(known, np.nan if name in NUMBERS else None)
    both = pd.concat([now, told[[*now.columns.drop("unit")]]], ignore_index=True)
    both = both.sort_values(["plot", "day"], kind="stable")
    # In order of first appearance of plots, so that look-up keys ascend.
    order = {name: at for at, name in enumerate(now["plot"])}
    both = both.sort_values("plot", key=lambda names: names.map(order), kind="stable")
    filled = both.groupby("plot", sort=False)[[*NUMBERS, *TEXTS, "unit"]].ffill()
    both[filled.columns] = filled
    for name in (*TEXTS, "unit"):
        both[name] = both[name].fillna("")
    return both


def _column(frame: pd.DataFrame, name: str, otherwise: Any) -> pd.Series:
    return frame[name] if name in frame.columns else pd.Series(otherwise, index=frame.index)
