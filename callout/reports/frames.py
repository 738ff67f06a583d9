"""A survey as the two frames that stand computations, reports and exports take.

Every earlier measurement of the roster and every reading that stands, one row each. ``value`` is
the exact decimal as recorded; the float columns are derived from it for computation only.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.model import Plot, PlotSettings, Reading
from callout.core.units import Unit, convert
from callout.journal.folder import open_survey
from callout.journal.reader import current
from callout.reports.stand.columns import MEASUREMENT_COLUMNS, PLOT_COLUMNS

# Few different texts in many rows: categories keep large surveys small and quick.
_FEW_VALUES = ("plot", "tag", "stem", "species", "unit", "status", "source", "who", "engine")


def survey_frames(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The measurements and the plots of the survey at ``path``; see ``stand.columns``.

    Raises OperatorError where there is no survey.
    """
    with open_survey(path).reading() as reader:
        plots, readings = reader.plots(), current(reader.readings())
    rows = [row for plot in plots.values() for row in _roster_rows(plot)]
    rows.extend(_reading_row(item, plots[item.plot].settings) for item in readings)
    measurements = pd.DataFrame(rows, columns=[*MEASUREMENT_COLUMNS, "who", "engine", "graduation"])
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
                "source": "roster", "who": "", "engine": "", "graduation": "",
            }  # fmt: skip


def _reading_row(reading: Reading, settings: PlotSettings) -> dict[str, Any]:
    value = reading.value
    in_cm = None if value is None else float(convert(value, reading.unit, Unit.CENTIMETRE))
    return {
        "plot": reading.plot, "tag": reading.tag, "stem": reading.stem, "species": reading.species,
        "date": reading.at[:10], "value": value, "unit": reading.unit.value, "diameter_cm": in_cm,
        "status": reading.status.replace("dead_", "dead "),
        "pom_m": float(reading.height_m or settings.breast_height_m), "source": "callout",
        "who": reading.who, "engine": reading.engine, "graduation": str(settings.graduation),
    }  # fmt: skip


def _plot_row(settings: PlotSettings) -> dict[str, Any]:
    area = settings.area_ha
    return {
        "plot": settings.plot, "area_ha": float("nan") if area is None else float(area),
        "unit": settings.unit.value, "breast_height_m": float(settings.breast_height_m),
        "treatment": settings.treatment,
    }  # fmt: skip
