"""Conversion between cells and text: exact decimals, dates, and texts guarded for spreadsheets.

Readings stay decimals as recorded, with trailing zeros, and never become floats. No files here.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.core.units import Unit, convert, parse_decimal, parse_unit
from callout.reports.spreadsheets import guarded
from callout.reports.stand.columns import MEASUREMENT_COLUMNS, PLOT_COLUMNS, STATUSES

PLACE_COLUMNS = ("latitude", "longitude", "coordinate_uncertainty_m")  # of plots: plain numbers
_FIGURE = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,30})?(e[-+]?[0-9]{1,2})?")
MEANING = {
    "measurement_id": "the measurement's name for good: its recorder and the entry it began with, "
    "or what it says and where it came from",
    "tree_id": "the tree's name for good, over all visits",
    "plot": "the plot's name",
    "tag": "the tree's tag",
    "stem": "the stem of a tree of several; empty where single",
    "species": "as told in the roster",
    "date": "when it was measured",
    "value": "diameter exactly as recorded, in the row's unit",
    "unit": "unit of the diameter",
    "status": "the stem's state",
    "measured_height_m": "height of measurement above ground, metres",
    "source": "where the value is from: roster (or a table), or called out here and confirmed",
    "time": "when it was confirmed, with the offset from UTC; empty where only the day is known",
    "entered_by": "how it came: voice, typed, key or tape; empty where it was not called out here",
    "engine": "what recognised the speech",
    "confidence": "how sure the recogniser was, 0 to 1",
    "words": "the words heard or typed",
    "raw": "the size before scale, unit and graduation were applied, or as the table had it",
    "raw_unit": "unit of the raw size",
    "rounding": "how it was brought to the graduation: nearest or down",
    "warnings": "what was warned of when it was confirmed all the same",
    "disagrees": "what another recorder read of the stem, as long as nobody ruled",
    "ruling": "what a reviewer ruled on it, and why",
    "recorder": "whose journal holds it",
    "entry": "its entry in that journal, of the last correction",
    "sound": "SHA-256 of the sound kept of it",
    "site": "the site the plot is part of",
    "shape": "the plot's shape",
    "established": "the year or day from which the plot is kept",
    "paint_line": "whether the height of measurement is painted on the trees: yes, no or untold",
    "scale": "what the tape reads: diameter or girth",
    "smallest": "the smallest diameter measured, in the plot's unit",
    "largest": "the largest that is taken for possible, in the plot's unit",
    "latitude": "degrees north, WGS 84",
    "longitude": "degrees east, WGS 84",
    "coordinate_uncertainty_m": "how far off the coordinates may be, metres",
    "note_id": "the note's name for good: its recorder and entry",
    "area_ha": "area, hectares",
    "breast_height_m": "height of measurement of the plot, metres",
    "treatment": "what was done to the plot",
    "who": "who called the value",
    "graduation": "the tape's graduation, in the row's unit",
    "tag_note": "what became of the tree's tag: lost, or what it was before it was replaced",
}
# Earlier names of columns: surveys started from older ones still hold them.
FORMER_NAMES = {"pom_m": "measured_height_m"}
# The diameter in centimetres is derived, so it is computed again on reading.
WRITTEN = tuple(name for name in MEASUREMENT_COLUMNS if name != "diameter_cm")


def told(cell: Any) -> str:
    """One cell as exact text; '' for a missing value."""
    if isinstance(cell, Decimal):
        return format(cell, "f")
    if cell is None or cell is pd.NaT or (isinstance(cell, float) and np.isnan(cell)):
        return ""
    if isinstance(cell, pd.Timestamp):
        local = cell.tz_localize(None)
        return str(local.date() if local == local.normalize() else local.isoformat())
    if isinstance(cell, (float, np.floating)):
        return repr(float(cell))  # the shortest text that reads back to the same float
    if isinstance(cell, (list, tuple)):
        return "; ".join(str(item) for item in cell)
    return "" if cell is pd.NA else str(cell)


def frame_csv(frame: pd.DataFrame) -> str:
    """Any table as CSV: texts guarded, numbers unchanged."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([guarded(str(name)) for name in frame.columns])
    writer.writerows(zip(*(shown(frame[name]) for name in frame.columns), strict=True))
    return text.getvalue()


def shown(column: pd.Series) -> np.ndarray:
    """Cells as texts; original texts are guarded, each distinct one once."""
    if isinstance(column.dtype, (pd.CategoricalDtype, pd.StringDtype)):
        return mapped(column, guarded)
    if column.dtype.kind != "O":
        return texts(column)
    made = [guarded(cell) if isinstance(cell, str) else told(cell) for cell in column.tolist()]
    return np.array([*made, ""], dtype=object)[:-1]


def mapped(column: pd.Series, change: Callable[[str], str]) -> np.ndarray:
    """``change`` applied to every cell as text, computing each distinct text once."""
    codes, different = pd.factorize(column)
    made = np.array([*(change(told(cell)) for cell in different), ""], dtype=object)
    return np.asarray(made[codes], dtype=object)


_FEW_VALUES = ("plot", "tag", "stem", "species", "unit", "status", "source", "who", "rounding")
# Columns of texts that repeat often in a file.
ROW_NAMES = ("measurement_id", "tree_id")  # texts that never or seldom repeat
REPEATING = (*_FEW_VALUES, "value", "graduation", "raw_unit", "warnings", "disagrees", "ruling")


def compacted(measurements: pd.DataFrame) -> pd.DataFrame:
    """Columns with many repeated texts become categories: small and quick."""
    few = [name for name in _FEW_VALUES if name in measurements.columns]
    return measurements.astype(dict.fromkeys(few, "category"))


def extra_columns(measurements: pd.DataFrame) -> list[str]:
    """Columns beyond those every frame has; exported as text."""
    return [str(name) for name in measurements.columns if name not in MEASUREMENT_COLUMNS]


def extra_plot_columns(plots: pd.DataFrame) -> list[str]:
    """Columns of plots beyond those every frame has; exported as text."""
    return [str(name) for name in plots.columns if name not in PLOT_COLUMNS]


def text_frame(frame: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """``columns`` of ``frame`` with every cell as text, unguarded."""
    return pd.DataFrame({name: texts(frame[name]) for name in columns}, columns=list(columns))


def texts(column: pd.Series) -> np.ndarray:
    """A column's cells as texts, an array of objects; each distinct cell is converted once."""
    if column.dtype.kind == "M":
        return mapped(column.dt.tz_localize(None), str)
    cells = column.array if isinstance(column.dtype, pd.CategoricalDtype) else None
    if cells is not None:
        names = np.array([*(told(cell) for cell in cells.categories), ""], dtype=object)
        return np.asarray(names[cells.codes], dtype=object)
    if column.dtype.kind == "f":
        bits = np.ascontiguousarray(column.to_numpy("float64")).view(np.int64)  # tells 0.0 and -0.0
        codes, different = pd.factorize(bits)
        made = [told(cell) for cell in different.view(np.float64)]
        return np.asarray(np.array([*made, ""], dtype=object)[codes])
    if column.dtype.kind in "iu":
        made = [str(cell) for cell in column.tolist()]
    else:
        # By identity: equal decimals may be written differently, and columns share their cells.
        own = column.tolist()
        words = {at: told(cell) for at, cell in {id(cell): cell for cell in own}.items()}
        made = [words[id(cell)] for cell in own]
    return np.array(made, dtype=object) if made else np.empty(0, dtype=object)


def text_rows(frame: pd.DataFrame, columns: Sequence[str]) -> list[list[str]]:
    """Every row of ``frame`` as text cells, unguarded."""
    parts = [texts(frame[name]) for name in columns]
    return [list(row) for row in zip(*parts, strict=True)]


def measurements_from(cells: pd.DataFrame) -> pd.DataFrame:
    """The measurements frame from a frame of texts.

    Raises OperatorError naming a row it cannot use.
    """
    cells = cells.rename(columns=FORMER_NAMES)
    missing = [name for name in WRITTEN if name not in cells.columns]
    if missing:
        raise OperatorError(f"the measurements lack the column {', '.join(missing)}")
    value = _each(cells["value"], _decimal)
    unit = _each(cells["unit"], lambda text: parse_unit(text).value)
    status = _each(cells["status"], _state)
    frame = pd.DataFrame(
        {
            "plot": cells["plot"],
            "tag": cells["tag"],
            "stem": cells["stem"],
            "species": cells["species"],
            "date": _dates(cells["date"]),
            "value": pd.Series(value, dtype=object),
            "unit": pd.Series(unit, dtype=object),
            "diameter_cm": _centimetres(value, unit),
            "status": pd.Series(status, dtype=object),
            "measured_height_m": _floats(cells["measured_height_m"]),
            "source": cells["source"],
        }
    )
    others = [name for name in cells.columns if name not in frame.columns]
    return pd.concat([frame, cells[others]], axis=1)


def plots_from(cells: pd.DataFrame) -> pd.DataFrame:
    """The plots frame from a frame of texts. Raises OperatorError naming a row it cannot use."""
    missing = [name for name in PLOT_COLUMNS if name not in cells.columns]
    if missing:
        raise OperatorError(f"the plots lack the column {', '.join(missing)}")
    numbers = {
        name: _each(cells[name], _float).astype("float64")
        for name in ("area_ha", "breast_height_m")
    }
    return cells.assign(**numbers)


def frame_of(rows: Sequence[Sequence[str]], columns: Sequence[str]) -> pd.DataFrame:
    """Rows of texts as a frame of texts."""
    return pd.DataFrame(list(rows), columns=list(columns), dtype=object)


def centimetres(value: Decimal | None, unit: Unit) -> float:
    """A recorded diameter in centimetres, for computation only."""
    return float("nan") if value is None else float(convert(value, unit, Unit.CENTIMETRE))


def _centimetres(value: np.ndarray, unit: np.ndarray) -> np.ndarray:
    """Each distinct size of a unit is converted once."""
    codes, sizes = pd.factorize(value)
    codes_of_unit, units = pd.factorize(unit)
    pairs, row = np.unique(codes * len(units) + codes_of_unit, return_inverse=True)
    made = [
        centimetres(None if pair < 0 else sizes[pair // len(units)], Unit(units[pair % len(units)]))
        for pair in pairs
    ]
    return np.array(made, dtype=np.float64)[row] if made else np.empty(0)


def _dates(column: pd.Series) -> pd.Series:
    """The moments of a column of texts, or of moments. Raises as ``_each`` does."""
    if column.dtype.kind != "M":
        return pd.Series(_each(column, _moment), dtype="datetime64[us]")
    if column.isna().any():
        raise OperatorError(f"row {int(np.argmax(column.isna())) + 1}, date: there is no date")
    return column.dt.tz_localize(None).astype("datetime64[us]")


def _floats(column: pd.Series) -> Any:
    """Derived figures of a column of texts, or of floats. Raises as ``_each`` does."""
    if column.dtype.kind == "f" and not np.isinf(column).any():
        return column.astype("float64")
    return _each(column, _float).astype("float64")


def _each(column: pd.Series, read: Callable[[str], Any]) -> np.ndarray:
    """Parse every cell, each distinct text once. Raises OperatorError naming the first bad row."""
    if not isinstance(column.dtype, pd.CategoricalDtype):
        column = column.astype(object)
    codes, different = pd.factorize(column)
    made: np.ndarray = np.empty(len(different), dtype=object)
    for at, text in enumerate(different):
        try:
            made[at] = read(text)
        except (OperatorError, ValueError) as error:
            row = int(np.argmax(codes == at)) + 1
            raise OperatorError(f"row {row}, {column.name}: {error}") from None
    return np.asarray(made[codes])


def _state(text: str) -> str:
    if text not in STATUSES:
        raise OperatorError(f"status {text!r} is none of {', '.join(STATUSES)}")
    return text


def _decimal(text: str) -> Decimal | None:
    return parse_decimal(text) if text else None


def _float(text: str) -> float:
    """A derived figure, of at most the length of a float's text; readings use ``_decimal``."""
    if not text:
        return float("nan")
    if not _FIGURE.fullmatch(text):
        raise OperatorError(f"{text[:40]!r} is no number")
    return float(text)


def _moment(text: str) -> pd.Timestamp:
    moment = pd.Timestamp(text)
    if moment is pd.NaT:
        raise OperatorError("there is no date")
    return moment.tz_localize(None)
