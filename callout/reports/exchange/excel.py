"""An Excel workbook of any tables, and of the two frames and back.

Texts are written as texts, guarded like those of the CSVs, and never as formulas. A reading is a
number shown with the decimals it was recorded with; beyond fifteen digits it is written as text.
What it cannot hold: sounds, the journal, settings of checks and listening, control characters, and
the seventeenth digit of a derived figure or an area.
"""

from __future__ import annotations

import importlib
import json
import re
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.exchange.cells import (
    MEANING,
    PLACE_COLUMNS,
    WRITTEN,
    extra_columns,
    extra_plot_columns,
    frame_of,
    measurements_from,
    plots_from,
    told,
)
from callout.reports.exchange.dataset import FURTHER_TABLES, Dataset
from callout.reports.exchange.metadata import About, about_from
from callout.reports.identities import identified
from callout.reports.spreadsheets import GUARD_NOTE, bared, guarded, plain_number
from callout.reports.stand.columns import PLOT_COLUMNS
from callout.survey.archives import open_archive, refuse_large
from callout.survey.files import storage_errors

_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ufffe\uffff\ud800-\udfff]")
_WHOLE = "everything told of the data set, as JSON"
_DIGITS = 15  # a binary double holds any decimal of fifteen digits
MOST_ROWS = 1_048_575  # rows of a sheet, without the header
MOST_CHARACTERS = 32_767  # of one cell


def write_tables(path: Path, tables: Mapping[str, pd.DataFrame]) -> Path:
    """Write each of ``tables`` as a sheet of one workbook. Raises OperatorError if one is too long.

    Names are cut to 31 characters, the limit for a sheet's name.
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


def write_workbook(path: Path, data: Dataset, about: About) -> Path:
    """Write sheets ``measurements``, ``plots``, further tables and ``about``."""
    measurements = identified(data.measurements, about.title)
    columns = [*WRITTEN, "diameter_cm", *extra_columns(measurements)]
    notes = [("title", about.title), ("creator", about.creator), ("created", about.created)]
    notes += [("licence", about.licence), (_WHOLE, json.dumps(about.plain, ensure_ascii=False))]
    notes += [("texts", GUARD_NOTE), *MEANING.items()]
    return write_tables(
        path,
        {
            "measurements": measurements[columns],
            "plots": _placed(data.plots[[*PLOT_COLUMNS, *extra_plot_columns(data.plots)]]),
            **data.further,
            "about": pd.DataFrame(notes, columns=["what", "told"]),
        },
    )


def _placed(plots: pd.DataFrame) -> pd.DataFrame:
    """Coordinates as numbers that keep their decimals."""
    kept = [name for name in PLACE_COLUMNS if name in plots.columns]
    return plots.assign(
        **{
            name: [Decimal(text) if plain_number(text) else text for text in plots[name]]
            for name in kept
        }
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


def read_workbook(path: Path) -> Dataset:
    """The content of a workbook written by this program. Raises OperatorError for any other."""
    openpyxl = _library()
    try:
        with open_archive(path) as archive:
            archive.check_book()
        book = openpyxl.load_workbook(path, read_only=True)
        further = [name for name in FURTHER_TABLES if name in book.sheetnames]
        tables = {name: _sheet(book[name]) for name in ("measurements", "plots", *further)}
        told = _sheet(book["about"]) if "about" in book.sheetnames else frame_of([], ["what"])
        book.close()
    except OperatorError:
        raise
    except Exception as error:  # the library raises nearly anything for a broken file
        raise OperatorError(f"{path} is no workbook of this program: {error}") from None
    return Dataset(
        measurements_from(tables["measurements"].drop(columns="diameter_cm", errors="ignore")),
        plots_from(tables["plots"]),
        {name: tables[name] for name in further},
        about=_about(told),
    )


def _about(told: pd.DataFrame) -> About | None:
    whole = told.loc[told["what"] == _WHOLE]
    try:
        return about_from(json.loads(str(whole["told"].iloc[0])))
    except (IndexError, KeyError, ValueError):
        return None


def _sheet(sheet: Any) -> pd.DataFrame:
    rows: list[list[str]] = []
    cells = 0
    for row in sheet.iter_rows():
        cells += len(row)
        refuse_large(1, len(row))
        refuse_large(cells, 1)
        rows.append([_text(cell) for cell in row])
    width = max(map(len, rows))
    return frame_of([[*row, *[""] * (width - len(row))] for row in rows[1:]], rows[0])


def _text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, datetime):
        # A sheet stores times as floats: exact to the microsecond only.
        return told(pd.Timestamp(value))
    if isinstance(value, (int, float)):
        pattern = re.fullmatch(r"0(?:\.(0+))?", cell.number_format)
        if pattern:
            return f"{Decimal(repr(value)):.{len(pattern[1] or '')}f}"
        return repr(float(value))
    return bared(str(value))
