"""A survey or united site as the two frames that stand computations, reports and exports take.

Every earlier measurement of the roster and every current reading, one row each. ``value`` is the
exact decimal as recorded, or as a ruling amended it; the float columns are derived from it for
computation only. Readings ruled void are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.model import Plot, PlotSettings
from callout.core.units import Unit, convert
from callout.core.unseen import dropped
from callout.crews.place import Place, Standing, read_place
from callout.crews.twice import value_of
from callout.reports.exchange.cells import frame_of, measurements_from
from callout.reports.identities import identified
from callout.reports.readings import disagreeing
from callout.reports.stand.columns import (
    FURTHER,
    LIVE,
    MEASUREMENT_COLUMNS,
    PLOT_COLUMNS,
    PLOT_FURTHER,
)

TREE_COLUMNS = ("plot", "tag", "species")
# Columns with many repeated texts: categories keep large surveys small and quick.
_FEW_VALUES = (
    "plot",
    "tag",
    "stem",
    "species",
    "unit",
    "status",
    "source",
    "who",
    "engine",
    "recorder",
)
NOTE_COLUMNS = ("note_id", "plot", "tag", "time", "words", "sound", "recorder")


def survey_frames(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The measurements and the plots of the survey or site at ``path``; see ``stand.columns``.

    Raises OperatorError if there is no survey.
    """
    return frames_of(read_place(path))


def frames_of(place: Place) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The measurements and the plots of a survey or site in memory."""
    plots = place.plots
    differing = disagreeing(place) if place.united else {}
    earlier = _earlier(place.earlier)
    rows = [
        row
        for plot in plots.values()
        for row in _roster_rows(plot)
        if earlier is None or _key(row) not in earlier.keys
    ]
    rows.extend(
        _reading_row(item, plots[item.reading.plot].settings, differing)
        for item in place.standing
        if not item.void
    )
    measurements = pd.DataFrame(rows, columns=[*MEASUREMENT_COLUMNS, *FURTHER])
    measurements[list(FURTHER)] = measurements[list(FURTHER)].astype(object).fillna("")
    measurements["date"] = pd.to_datetime(measurements["date"]).astype("datetime64[us]")
    if earlier is not None:
        measurements = _joined(earlier.frame, measurements)
    measurements = identified(measurements, place.origin)
    _retag(measurements, place.standing)
    measurements = measurements.astype(
        {**dict.fromkeys(_FEW_VALUES, "category"), "diameter_cm": float, "measured_height_m": float}
    )
    told = [_plot_row(plot.settings) for plot in plots.values()]
    return measurements, pd.DataFrame(
        told + _plots_gone(measurements, plots), columns=[*PLOT_COLUMNS, *PLOT_FURTHER]
    ).fillna(dict.fromkeys(PLOT_FURTHER, ""))


def _retag(measurements: pd.DataFrame, standing: Iterable[Standing]) -> None:
    """Give all rows of a tree whose tag was replaced its present tag."""
    for reading in (item.reading for item in standing if item.reading.tag_lost and not item.void):
        own = (measurements["plot"] == reading.plot) & (measurements["tag"] == reading.tag)
        measurements.loc[own, ["tag", "tag_note"]] = [reading.tag_now, reading.tag_note]


def trees_of(place: Place) -> pd.DataFrame:
    """Every tree of the roster by its present tag, with the roster's further columns; texts."""
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


def notes_of(place: Place) -> pd.DataFrame:
    """Every note of the survey or site: about a tree, or about its plot if ``tag`` is ''."""
    rows = [
        [
            f"{memo['recorder']}:{memo['entry']}",
            memo["plot"],
            memo["tag"] or "",
            memo["at"],
            dropped(memo["words"]),
            memo["audio"] or "",
            memo["recorder"],
        ]
        for memo in place.memos
    ]
    return pd.DataFrame(rows, columns=list(NOTE_COLUMNS), dtype=object)


@dataclass(frozen=True)
class _Earlier:
    """Rows that a survey was started with, and the roster rows that they replace."""

    frame: pd.DataFrame
    keys: frozenset[tuple[object, ...]]


def _earlier(rows: Sequence[Mapping[str, str]]) -> _Earlier | None:
    if not rows:
        return None
    columns = list(dict.fromkeys(name for row in rows for name in row))
    cells = frame_of([[row.get(name, "") for name in columns] for row in rows], columns)
    frame = measurements_from(cells)
    keys = {
        (row.plot, row.tag, row.date.date().isoformat(), row.value, row.unit)
        for row in frame.itertuples()
    }
    return _Earlier(frame, frozenset(keys))


def _key(row: Mapping[str, Any]) -> tuple[object, ...]:
    return row["plot"], row["tag"], row["date"], row["value"], row["unit"]


def _joined(earlier: pd.DataFrame, now: pd.DataFrame) -> pd.DataFrame:
    """Both, with the columns of either; '' for a missing cell."""
    columns = list(dict.fromkeys([*now.columns, *earlier.columns]))
    parts = [part.reindex(columns=columns) for part in (earlier, now) if len(part)]
    joined = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0].copy()
    further = [name for name in columns if name not in MEASUREMENT_COLUMNS]
    joined[further] = joined[further].astype(object).fillna("")
    return joined


def _plots_gone(measurements: pd.DataFrame, plots: Mapping[str, Plot]) -> list[dict[str, Any]]:
    """Plots of which no tree is left in the roster; only their measurements are known."""
    found = []
    for name in dict.fromkeys(str(plot) for plot in measurements["plot"]):
        if name not in plots:
            own = measurements[measurements["plot"] == name]
            found.append(
                {
                    "plot": name,
                    "area_ha": float("nan"),
                    "unit": str(own["unit"].iloc[-1]),
                    "breast_height_m": float("nan"),
                    "treatment": "",
                }
            )
    return found


def _roster_rows(plot: Plot) -> Iterator[dict[str, Any]]:
    for tree in plot.trees.values():
        for past in tree.past:
            yield {
                "plot": tree.plot,
                "tag": tree.tag,
                "stem": "",
                "species": tree.species,
                "date": past.on.isoformat(),
                "value": past.value,
                "unit": past.unit.value,
                "diameter_cm": float(convert(past.value, past.unit, Unit.CENTIMETRE)),
                "status": LIVE,
                "measured_height_m": float(plot.settings.breast_height_m),
                "source": "roster",
            }


def _reading_row(
    item: Standing, settings: PlotSettings, differing: Mapping[tuple[str, int], str]
) -> dict[str, Any]:
    reading, ruling = item.reading, item.ruling
    # It was rounded to the graduation set then, whatever the settings are now.
    then = item.settings or settings
    value = value_of(item)
    in_cm = None if value is None else float(convert(value, reading.unit, Unit.CENTIMETRE))
    told = "" if ruling is None else ruling.told
    if value != reading.value:
        told += f"; recorded as {reading.value} {reading.unit.value}"
    return {
        "plot": reading.plot,
        "tag": reading.tag,
        "stem": reading.stem,
        "species": reading.species,
        "date": reading.at[:10],
        "value": value,
        "unit": reading.unit.value,
        "diameter_cm": in_cm,
        "status": reading.status_told,
        "measured_height_m": float(reading.height_m or settings.breast_height_m),
        "source": "callout",
        "measurement_id": item.lasting_name,
        "time": reading.at,
        "who": reading.who,
        "entered_by": reading.source,
        "engine": reading.engine,
        "confidence": _text(reading.confidence),
        "words": dropped(reading.words),
        "raw": _text(reading.raw),
        "raw_unit": reading.raw_unit.value if reading.raw_unit else "",
        "graduation": str(then.graduation),
        "rounding": then.rounding.value,
        "warnings": "; ".join(reading.warnings),
        "ruling": told,
        "recorder": item.recorder,
        "disagrees": differing.get((item.recorder, reading.entry), ""),
        "entry": str(reading.entry),
        "sound": reading.audio or "",
    }


def _plot_row(settings: PlotSettings) -> dict[str, Any]:
    area = settings.area_ha
    return {
        "plot": settings.plot,
        "area_ha": float("nan") if area is None else float(area),
        "unit": settings.unit.value,
        "breast_height_m": float(settings.breast_height_m),
        "treatment": settings.treatment,
        "site": settings.site,
        "shape": settings.shape,
        "established": settings.established,
        "paint_line": {True: "yes", False: "no", None: ""}[settings.paint_line],
        "graduation": str(settings.graduation),
        "rounding": settings.rounding.value,
        "scale": settings.scale.value,
        "smallest": str(settings.smallest),
        "largest": str(settings.largest),
    }


def _text(value: Decimal | None) -> str:
    return "" if value is None else str(value)
