"""Cells as text and back: exact decimals, days, and texts that no spreadsheet takes for a formula.

A text that begins like a formula gets an apostrophe before it, and so does one that begins with an
apostrophe, so that reading back is exact. Readings stay decimals as recorded, trailing zeros too;
they never pass through a binary float. No files here.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.core.units import Unit, convert, parse_decimal, parse_unit
from callout.reports.stand.columns import MEASUREMENT_COLUMNS, PLOT_COLUMNS, STATUSES

# Full-width signs too: spreadsheets set to East Asian languages take them for the plain ones.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
GUARD = "'"
_FIGURE = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,30})?(e[-+]?[0-9]{1,2})?")
GUARD_NOTE = (
    "Texts that begin with = + - @ a tab, a line end or an apostrophe have one apostrophe put "
    "before them, so that no spreadsheet runs them; take one off to get the text."
)
MEANING = {
    "id": "number of the row, from 1",
    "plot": "the plot's name",
    "tag": "the tree's tag",
    "stem": "the stem of a tree of several; empty where single",
    "species": "as told in the roster",
    "date": "when it was measured",
    "value": "diameter exactly as recorded, in the row's unit",
    "unit": "unit of the diameter",
    "status": "the stem's state",
    "measured_height_m": "height of measurement above ground, metres",
    "source": "where the value is from: the roster, or heard and confirmed",
    "area_ha": "area, hectares",
    "breast_height_m": "height of measurement of the plot, metres",
    "treatment": "what was done to the plot",
    "who": "who called the value",
    "graduation": "the tape's graduation, in the row's unit",
    "tag_note": "what became of the tree's tag: lost, or what it was before it was replaced",
}
# What a column was called before: surveys begun from earlier ones hold it so.
FORMER_NAMES = {"pom_m": "measured_height_m"}
# The diameter in centimetres is derived, so it is computed again on reading.
WRITTEN = tuple(name for name in MEASUREMENT_COLUMNS if name != "diameter_cm")


@dataclass(frozen=True)
class About:
    """What is told of the data set; ``created`` is a moment in ISO 8601."""

    title: str
    creator: str
    created: str
    licence: str = ""
    description: str = ""


def guarded(text: str) -> str:
    """``text`` made safe for spreadsheets; ``bared`` gives it back."""
    return GUARD + text if text.startswith((*FORMULA_SIGNS, GUARD)) else text


def bared(text: str) -> str:
    """The text that ``guarded`` was given."""
    return text[1:] if text.startswith(GUARD) else text


def told(cell: Any) -> str:
    """One cell as text: exact, and '' where there is nothing."""
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
    """Any table as CSV: texts guarded, numbers as they are."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([guarded(str(name)) for name in frame.columns])
    parts = [
        [guarded(cell) if isinstance(cell, str) else told(cell) for cell in frame[name]]
        for name in frame.columns
    ]
    writer.writerows(zip(*parts, strict=True))
    return text.getvalue()


def extra_columns(measurements: pd.DataFrame) -> list[str]:
    """Columns beyond those every frame has; they travel as text."""
    known = {*MEASUREMENT_COLUMNS, "id"}
    return [str(name) for name in measurements.columns if name not in known]


def text_rows(frame: pd.DataFrame, columns: Sequence[str]) -> list[list[str]]:
    """Every row of ``frame`` as text cells, unguarded."""
    parts = [[told(cell) for cell in frame[name]] for name in columns]
    return [list(row) for row in zip(*parts, strict=True)]


def measurements_from(rows: Sequence[Sequence[str]], columns: Sequence[str]) -> pd.DataFrame:
    """The measurements frame from text cells. Raises OperatorError naming the row it cannot use."""
    columns = [FORMER_NAMES.get(name, name) for name in columns]
    missing = [name for name in WRITTEN if name not in columns]
    if missing:
        raise OperatorError(f"the measurements lack the column {', '.join(missing)}")
    cells = {name: [row[at] for row in rows] for at, name in enumerate(columns)}
    value = [_row(_decimal, text, "value", at) for at, text in enumerate(cells["value"], 1)]
    unit = [_row(parse_unit, text, "unit", at) for at, text in enumerate(cells["unit"], 1)]
    for at, text in enumerate(cells["status"], 1):
        if text not in STATUSES:
            raise OperatorError(f"row {at}: status {text!r} is none of {', '.join(STATUSES)}")
    frame = pd.DataFrame(
        {
            "plot": cells["plot"],
            "tag": cells["tag"],
            "stem": cells["stem"],
            "species": cells["species"],
            "date": [_row(_moment, text, "date", at) for at, text in enumerate(cells["date"], 1)],
            "value": pd.Series(value, dtype=object),
            "unit": [item.value for item in unit],
            "diameter_cm": [centimetres(*pair) for pair in zip(value, unit, strict=True)],
            "status": cells["status"],
            "measured_height_m": [
                _row(_float, text, "measured_height_m", at)
                for at, text in enumerate(cells["measured_height_m"], 1)
            ],
            "source": cells["source"],
        }
    ).astype({"date": "datetime64[us]", "diameter_cm": "float64", "measured_height_m": "float64"})
    for name in columns:
        if name not in frame.columns and name != "id":
            frame[name] = cells[name]
    return frame


def plots_from(rows: Sequence[Sequence[str]], columns: Sequence[str]) -> pd.DataFrame:
    """The plots frame from text cells. Raises OperatorError naming the row it cannot use."""
    missing = [name for name in PLOT_COLUMNS if name not in columns]
    if missing:
        raise OperatorError(f"the plots lack the column {', '.join(missing)}")
    table = {name: [row[at] for row in rows] for at, name in enumerate(columns)}
    for name in ("area_ha", "breast_height_m"):
        numbers = [_row(_float, text, name, at) for at, text in enumerate(table[name], 1)]
        table[name] = np.array(numbers, dtype=np.float64)  # type: ignore[assignment]
    return pd.DataFrame(table)


def centimetres(value: Decimal | None, unit: Unit) -> float:
    """A recorded diameter in centimetres, for computation only."""
    return float("nan") if value is None else float(convert(value, unit, Unit.CENTIMETRE))


def _row(read: Any, text: str, column: str, at: int) -> Any:
    try:
        return read(text)
    except (OperatorError, ValueError) as error:
        raise OperatorError(f"row {at}, {column}: {error}") from None


def _decimal(text: str) -> Decimal | None:
    return parse_decimal(text) if text else None


def _float(text: str) -> float:
    """A derived figure, as long as a float's own text may be; readings go through ``_decimal``."""
    if not text:
        return float("nan")
    if not _FIGURE.fullmatch(text):
        raise OperatorError(f"{text[:40]!r} is no number")
    return float(text)


def _moment(text: str) -> pd.Timestamp:
    moment = pd.Timestamp(text)
    if moment is pd.NaT:
        raise OperatorError("there is no date")
    return moment
