"""What the rows of another's table tell of their plot, and from which day.

What never changes is the plot's own; what changes is its history, from the days of the rows that
tell it. Graduation and rounding stay with the row, as a reading keeps them.
"""

from __future__ import annotations

from decimal import Decimal

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.rounding import Rounding
from callout.core.units import parse_decimal
from callout.reports.histories import history_texts
from callout.survey.plot_history import Since

PLOT_FACTS = ("area_ha", "treatment")
ROW_FACTS = (*PLOT_FACTS, "graduation", "rounding")
# Hectares of one; an acre is 43,560 square feet of 0.3048 m.
HECTARES = {
    "ha": Decimal(1),
    "m2": Decimal("0.0001"),
    "acre": 43_560 * Decimal("0.3048") ** 2 / 10_000,
}
_HEIGHT = "breast_height_m"


def fact_of(name: str, text: str, area_unit: str = "ha") -> str:
    """The exact text of a cell's fact. Raises OperatorError for one that cannot be so."""
    if name == "treatment":
        return text
    if name == "rounding":
        plain = text.casefold()
        if plain not in {item.value for item in Rounding}:
            raise OperatorError(f"rounding {text!r} is not down or nearest")
        return plain
    value = parse_decimal(text)
    if value <= 0:
        raise OperatorError(f"{'an area' if name == 'area_ha' else 'a graduation'} is above zero")
    return format((value * HECTARES[area_unit]).normalize(), "f") if name == "area_ha" else text


def plots_and_history(frame: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    """The plots that an imported frame names, and their history as texts; None for none.

    A height of measurement is the plot's on a day where all of that day's rows tell the same.
    """
    rows, since = [], []
    for plot, own in frame.groupby("plot", sort=True):
        told = {name: _by_day(own, name) for name in PLOT_FACTS if name in own.columns}
        told[_HEIGHT] = _heights(own)
        last = {name: days[-1][1] for name, days in told.items() if days}
        units = own["unit"].unique()
        unit = units[0] if len(units) == 1 else "cm"
        area, height = (float(last.get(name, "nan")) for name in ("area_ha", _HEIGHT))
        rows.append((plot, area, unit, height, last.get("treatment", "")))
        since += _since(str(plot), {name: days for name, days in told.items() if len(days) > 1})
    columns = ["plot", "area_ha", "unit", _HEIGHT, "treatment"]
    plots = pd.DataFrame(rows, columns=columns).astype({"area_ha": "float64", _HEIGHT: "float64"})
    return plots, history_texts(since) if since else None


def _by_day(own: pd.DataFrame, name: str) -> list[tuple[pd.Timestamp, str]]:
    """The days from which ``name`` was another, with what it was; rows that tell none count not."""
    told = own[own[name] != ""].sort_values("date", kind="stable")
    changed = told[told[name] != told[name].shift()]
    return list(zip(changed["date"], changed[name].astype(str), strict=True))


def _heights(own: pd.DataFrame) -> list[tuple[pd.Timestamp, str]]:
    """As ``_by_day`` for heights; nothing where rows of one day differ, or one tells none."""
    days = own.groupby("date")["measured_height_m"]
    if (days.nunique(dropna=False) > 1).any() or own["measured_height_m"].isna().any():
        return []
    firsts = days.first()
    changed = firsts[firsts != firsts.shift()]
    return [(day, format(height, "g")) for day, height in changed.items()]


def _since(plot: str, told: dict[str, list[tuple[pd.Timestamp, str]]]) -> list[Since]:
    by_day: dict[pd.Timestamp, dict[str, str]] = {}
    for name, days in told.items():
        for day, text in days:
            by_day.setdefault(day, {})[name] = text
    return [Since(plot, day.date(), facts) for day, facts in sorted(by_day.items())]
