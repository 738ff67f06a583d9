"""A survey or united site as the two frames that stand computations, reports and exports take.

Every earlier measurement of the roster and every reading that stands, one row each. ``value`` is
the exact decimal as recorded, or as a ruling amended it; the float columns are derived from it for
computation only. Readings ruled void are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.model import Plot, PlotSettings
from callout.core.units import Unit, convert
from callout.crews.place import Standing, read_place
from callout.crews.twice import value_of
from callout.reports.stand.columns import MEASUREMENT_COLUMNS, PLOT_COLUMNS

# Few different texts in many rows: categories keep large surveys small and quick.
_FEW_VALUES = (
    "plot", "tag", "stem", "species", "unit", "status", "source", "who", "engine", "recorder",
)  # fmt: skip
# Beyond what computations need: who heard what with what tape, and what was ruled since.
FURTHER = ("who", "engine", "graduation", "rounding", "recorder", "ruling")


def survey_frames(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The measurements and the plots of the survey or site at ``path``; see ``stand.columns``.

    Raises OperatorError where there is no survey.
    """
    place = read_place(path)
    plots = place.plots
    rows = [row for plot in plots.values() for row in _roster_rows(plot)]
    rows.extend(
        _reading_row(item, plots[item.reading.plot].settings)
        for item in place.standing
        if not item.void
    )
    measurements = pd.DataFrame(rows, columns=[*MEASUREMENT_COLUMNS, *FURTHER])
    measurements["date"] = pd.to_datetime(measurements["date"])
    for column in _FEW_VALUES:
        measurements[column] = measurements[column].astype("category")
    for column in ("diameter_cm", "pom_m"):
        measurements[column] = measurements[column].astype("float64")
    return measurements, pd.DataFrame(
        [_plot_row(plot.settings) for plot in plots.values()], columns=list(PLOT_COLUMNS)
    )


def _roster_rows(plot: Plot) -> Iterator[dict[str, Any]]:
    for tree in plot.trees.values():
        for past in tree.past:
            yield {
                "plot": tree.plot, "tag": tree.tag, "stem": "", "species": tree.species,
                "date": past.on.isoformat(), "value": past.value, "unit": past.unit.value,
                "diameter_cm": float(convert(past.value, past.unit, Unit.CENTIMETRE)),
                "status": "live", "pom_m": float(plot.settings.breast_height_m),
                "source": "roster", "who": "", "engine": "", "graduation": "", "rounding": "",
                "recorder": "", "ruling": "",
            }  # fmt: skip


def _reading_row(item: Standing, settings: PlotSettings) -> dict[str, Any]:
    reading, ruling = item.reading, item.ruling
    value = value_of(item)
    in_cm = None if value is None else float(convert(value, reading.unit, Unit.CENTIMETRE))
    told = "" if ruling is None else ruling.told
    if value != reading.value:
        told += f"; recorded as {reading.value} {reading.unit.value}"
    return {
        "plot": reading.plot, "tag": reading.tag, "stem": reading.stem, "species": reading.species,
        "date": reading.at[:10], "value": value, "unit": reading.unit.value, "diameter_cm": in_cm,
        "status": reading.status.replace("dead_", "dead ").replace("not_", "not "),
        "pom_m": float(reading.height_m or settings.breast_height_m), "source": "callout",
        "who": reading.who, "engine": reading.engine, "graduation": str(settings.graduation),
        "rounding": settings.rounding.value, "recorder": item.recorder, "ruling": told,
    }  # fmt: skip


def _plot_row(settings: PlotSettings) -> dict[str, Any]:
    area = settings.area_ha
    return {
        "plot": settings.plot, "area_ha": float("nan") if area is None else float(area),
        "unit": settings.unit.value, "breast_height_m": float(settings.breast_height_m),
        "treatment": settings.treatment,
    }  # fmt: skip
