"""A survey or united site as the two frames that stand computations, reports and exports take.

Every earlier measurement of the roster and every reading that stands, one row each. ``value`` is
the exact decimal as recorded, or as a ruling amended it; the float columns are derived from it for
computation only. Readings ruled void are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.model import Plot, PlotSettings
from callout.core.units import Unit, convert
from callout.crews.place import Standing, read_place
from callout.crews.twice import value_of
from callout.reports.exchange.cells import measurements_from
from callout.reports.stand.columns import MEASUREMENT_COLUMNS, PLOT_COLUMNS

TREE_COLUMNS = ("plot", "tag", "species")
# Few different texts in many rows: categories keep large surveys small and quick.
_FEW_VALUES = (
    "plot", "tag", "stem", "species", "unit", "status", "source", "who", "engine", "recorder",
)  # fmt: skip
# Beyond what computations need: who heard what with what tape, and what was ruled since.
# A tree whose tag was replaced has all its rows, the roster's too, by what hangs there now.
FURTHER = ("who", "engine", "graduation", "rounding", "recorder", "ruling", "tag_note")


def survey_frames(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The measurements and the plots of the survey or site at ``path``; see ``stand.columns``.

    Raises OperatorError where there is no survey.
    """
    place = read_place(path)
    plots = place.plots
    earlier = _earlier(place.earlier)
    rows = [
        row
        for plot in plots.values()
        for row in _roster_rows(plot)
        if earlier is None or _key(row) not in earlier.keys
    ]
    rows.extend(
        _reading_row(item, plots[item.reading.plot].settings)
        for item in place.standing
        if not item.void
    )
    measurements = pd.DataFrame(rows, columns=[*MEASUREMENT_COLUMNS, *FURTHER])
    measurements["tag_note"] = ""
    measurements["date"] = pd.to_datetime(measurements["date"]).astype("datetime64[us]")
    if earlier is not None:
        measurements = _joined(earlier.frame, measurements)
    _retag(measurements, place.standing)
    for column in _FEW_VALUES:
        measurements[column] = measurements[column].astype("category")
    for column in ("diameter_cm", "measured_height_m"):
        measurements[column] = measurements[column].astype("float64")
    told = [_plot_row(plot.settings) for plot in plots.values()]
    return measurements, pd.DataFrame(
        told + _plots_gone(measurements, plots), columns=[*PLOT_COLUMNS, "about"]
    )


def _retag(measurements: pd.DataFrame, standing: Iterable[Standing]) -> None:
    """All rows of a tree whose tag was replaced go by what hangs there now."""
    for reading in (item.reading for item in standing if item.reading.tag_lost and not item.void):
        own = (measurements["plot"] == reading.plot) & (measurements["tag"] == reading.tag)
        measurements.loc[own, ["tag", "tag_note"]] = [reading.tag_now, reading.tag_note]


def survey_trees(path: Path) -> pd.DataFrame:
    """Every tree of the roster, measured or not, with the roster's further columns; texts.

    By the tag that hangs there now.
    """
    place = read_place(path)
    trees = [tree for plot in place.plots.values() for tree in plot.trees.values()]
    lost = [item.reading for item in place.standing if item.reading.tag_lost and not item.void]
    now = {(reading.plot, reading.tag): reading.tag_now for reading in lost}
    further = dict.fromkeys(label for tree in trees for label in tree.extra)
    rows = [
        [
            tree.plot,
            now.get((tree.plot, tree.tag), tree.tag),
            tree.species,
            *(tree.extra.get(label, "") for label in further),
        ]
        for tree in trees
    ]
    return pd.DataFrame(rows, columns=[*TREE_COLUMNS, *further])


@dataclass(frozen=True)
class _Earlier:
    """Rows that a survey was begun with, and those of a roster that they stand for."""

    frame: pd.DataFrame
    keys: frozenset[tuple[object, ...]]


def _earlier(rows: Sequence[Mapping[str, str]]) -> _Earlier | None:
    if not rows:
        return None
    columns = list(dict.fromkeys(name for row in rows for name in row))
    frame = measurements_from([[row.get(name, "") for name in columns] for row in rows], columns)
    keys = {
        (row.plot, row.tag, row.date.date().isoformat(), row.value, row.unit)
        for row in frame.itertuples()
    }
    return _Earlier(frame, frozenset(keys))


def _key(row: Mapping[str, Any]) -> tuple[object, ...]:
    return row["plot"], row["tag"], row["date"], row["value"], row["unit"]


def _joined(earlier: pd.DataFrame, now: pd.DataFrame) -> pd.DataFrame:
    """Both, columns of either; where one lacks a column it is ''."""
    columns = list(dict.fromkeys([*now.columns, *earlier.columns]))
    parts = [part.reindex(columns=columns) for part in (earlier, now) if len(part)]
    joined = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0].copy()
    for name in columns:
        if name not in MEASUREMENT_COLUMNS:
            joined[name] = joined[name].astype(object).where(joined[name].notna(), "")
    return joined


def _plots_gone(measurements: pd.DataFrame, plots: Mapping[str, Plot]) -> list[dict[str, Any]]:
    """Plots of which no tree is left in the roster; only their measurements are known."""
    found = []
    for name in dict.fromkeys(str(plot) for plot in measurements["plot"]):
        if name not in plots:
            own = measurements[measurements["plot"] == name]
            found.append(
                {"plot": name, "area_ha": float("nan"), "unit": str(own["unit"].iloc[-1]),
                 "breast_height_m": float("nan"), "treatment": "",
                 "about": ""}
            )  # fmt: skip
    return found


def _roster_rows(plot: Plot) -> Iterator[dict[str, Any]]:
    for tree in plot.trees.values():
        for past in tree.past:
            yield {
                "plot": tree.plot, "tag": tree.tag, "stem": "", "species": tree.species,
                "date": past.on.isoformat(), "value": past.value, "unit": past.unit.value,
                "diameter_cm": float(convert(past.value, past.unit, Unit.CENTIMETRE)),
                "status": "live", "measured_height_m": float(plot.settings.breast_height_m),
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
        "status": reading.status_told,
        "measured_height_m": float(reading.height_m or settings.breast_height_m),
        "source": "callout", "who": reading.who, "engine": reading.engine,
        "graduation": str(settings.graduation),
        "rounding": settings.rounding.value, "recorder": item.recorder, "ruling": told,
    }  # fmt: skip


def _plot_row(settings: PlotSettings) -> dict[str, Any]:
    area = settings.area_ha
    return {
        "plot": settings.plot, "area_ha": float("nan") if area is None else float(area),
        "unit": settings.unit.value, "breast_height_m": float(settings.breast_height_m),
        "treatment": settings.treatment,
        "about": replace(settings, area_ha=None, treatment="").about,
    }  # fmt: skip
