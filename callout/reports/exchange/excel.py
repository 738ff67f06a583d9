"""An Excel workbook of any tables, and of the two frames and back.

Texts are written as texts, guarded like those of the CSVs, and never as formulas. A reading is a
number shown with the decimals it was recorded with; beyond fifteen digits it is written as text.
What it cannot hold: sounds, settings of the survey, control characters, and the
seventeenth digit of a derived figure or an area.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.journal.files import storage_errors
from callout.reports.exchange.cells import (
    GUARD_NOTE,
    MEANING,
    WRITTEN,
    About,
    bared,
    extra_columns,
    guarded,
    measurements_from,
    plots_from,
    told,
)
from callout.reports.stand.columns import PLOT_COLUMNS

_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ufffe\uffff\ud800-\udfff]")
_DIGITS = 15  # a binary double holds any decimal of fifteen digits
MOST_ROWS = 1_048_575  # rows a sheet has, less the header
MOST_CHARACTERS = 32_767  # of one cell


def write_tables(path: Path, tables: Mapping[str, pd.DataFrame]) -> Path:
    """Write each of ``tables`` as a sheet of one workbook. Raises OperatorError if one is too long.

    Names are cut to 31 characters, the most a sheet's may have.
    """
    openpyxl = _library()
    for name, frame in tables.items():
        if len(frame) > MOST_ROWS:
            raise OperatorError(f"{name} has {len(frame)} rows, a sheet {MOST_ROWS}: export as CSV")
    book = openpyxl.Workbook(write_only=True)
    for name, frame in tables.items():
        sheet = book.create_sheet(name[:31])
        sheet.freeze_panes = "A2"
        sheet.append([_cell(sheet, str(column)) for column in frame.columns])
        parts = [frame[column].tolist() for column in frame.columns]
        for row in zip(*parts, strict=True):
            sheet.append([_cell(sheet, cell) for cell in row])
    with storage_errors(f"cannot write {path}"):
        path.parent.mkdir(parents=True, exist_ok=True)
        book.save(path)
    return path


def write_workbook(
    path: Path, measurements: pd.DataFrame, plots: pd.DataFrame, about: About
) -> Path:
    """Write sheets ``measurements``, ``plots`` and ``about``."""
    columns = [*WRITTEN, "diameter_cm", *extra_columns(measurements)]
    notes = [("title", about.title), ("creator", about.creator), ("created", about.created)]
    notes += [("licence", about.licence), ("texts", GUARD_NOTE), *MEANING.items()]
    return write_tables(
        path,
        {
            "measurements": measurements[columns],
            "plots": plots[list(PLOT_COLUMNS)],
            "about": pd.DataFrame(notes, columns=["what", "told"]),
        },
    )


def _library() -> Any:
    try:
        return importlib.import_module("openpyxl")
    except ImportError:
        raise OperatorError("Excel needs openpyxl: pip install 'callout[reports]'") from None


def _cell(sheet: Any, value: Any) -> Any:
    make = importlib.import_module("openpyxl.cell").WriteOnlyCell
    if isinstance(value, Decimal) and len(value.as_tuple().digits) <= _DIGITS:
        cell = make(sheet, float(value))
        places = max(0, -int(value.as_tuple().exponent))
        cell.number_format = f"0.{'0' * places}" if places else "0"
        return cell
    if isinstance(value, (bool, np.bool_)):
        return make(sheet, bool(value))
    if isinstance(value, (int, float, np.number)):
        return make(sheet, float(value) if np.isfinite(value) else None)
    if isinstance(value, (pd.Timestamp, datetime)) and value is not pd.NaT:
        cell = make(sheet, pd.Timestamp(value).tz_localize(None).to_pydatetime())
        cell.number_format = "yyyy-mm-dd hh:mm:ss"
        return cell
    text = _CONTROLS.sub("\N{REPLACEMENT CHARACTER}", told(value))[: MOST_CHARACTERS - 1]
    cell = make(sheet, None)
    if text:
        cell.value = guarded(text)
        cell.data_type = "s"  # never 'f': a text stays a text
    return cell


def read_workbook(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The frames of a workbook that this program wrote. Raises OperatorError for any other."""
    openpyxl = _library()
    try:
        book = openpyxl.load_workbook(path)
        tables = [_sheet(book[name]) for name in ("measurements", "plots")]
    except Exception as error:  # the library raises nearly anything for a broken file
        raise OperatorError(f"{path} is no workbook of this program: {error}") from None
    (stems, columns), (plots, plot_columns) = tables
    at = columns.index("diameter_cm") if "diameter_cm" in columns else len(columns)
    kept = [row[:at] + row[at + 1 :] for row in stems]
    return (
        measurements_from(kept, columns[:at] + columns[at + 1 :]),
        plots_from(plots, plot_columns),
    )


def _sheet(sheet: Any) -> tuple[list[list[str]], list[str]]:
    rows = [[_text(cell) for cell in row] for row in sheet.iter_rows()]
    return rows[1:], rows[0]


def _text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, datetime):
        # A sheet keeps days as floats: to the microsecond, not beyond.
        return told(pd.Timestamp(value))
    if isinstance(value, (int, float)):
        pattern = re.fullmatch(r"0(?:\.(0+))?", cell.number_format)
        if pattern:
            return f"{Decimal(repr(value)):.{len(pattern[1] or '')}f}"
        return repr(float(value))
    return bared(str(value))
