"""A sheet of an Excel workbook as rows of text, each cell as a person sees it there.

A formula without its figure, and a cell that shows an error, are refused by name. The workbook may
be a stranger's: it is unpacked to nowhere first.
"""

from __future__ import annotations

import importlib
import re
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.survey.archives import open_archive

_FIXED = re.compile(r"[#,]*0(?:\.(0+))?")
Rows = list[tuple[int, tuple[str, ...]]]


def workbook_rows(path: Path, tab: str = "") -> tuple[str, Rows]:
    """The name of the sheet that was read, and its rows, each with its number there.

    Raises OperatorError where several sheets hold something and ``tab`` names none of them.
    """
    try:
        openpyxl = importlib.import_module("openpyxl")
    except ImportError:
        raise OperatorError("Excel needs openpyxl: pip install 'callout[reports]'") from None
    try:
        with open_archive(path) as archive:
            archive.check_book()
        shown = openpyxl.load_workbook(path, read_only=True, data_only=True)
        told = openpyxl.load_workbook(path, read_only=True)
        try:
            name = _chosen(path, shown, tab)
            return name, _rows(f"{path.name}, sheet {name}", shown[name], told[name])
        finally:
            shown.close()
            told.close()
    except OperatorError:
        raise
    except Exception as error:  # the library raises nearly anything for a broken file
        raise OperatorError(f"{path} cannot be read as a workbook: {error}") from None


def _chosen(path: Path, book: Any, tab: str) -> str:
    names = [
        sheet.title
        for sheet in book.worksheets
        if any(any(cell is not None for cell in row) for row in sheet.iter_rows(values_only=True))
    ]
    wanted = [name for name in names if name == tab] if tab else names
    if len(wanted) == 1:
        return str(wanted[0])
    told = ", ".join(names) or "none that holds anything"
    raise OperatorError(f"{path}: say which sheet by --sheet NAME; there are {told}")


def _rows(where: str, shown: Any, told: Any) -> Rows:
    found: Rows = []
    for row, written in zip(shown.iter_rows(), told.iter_rows(), strict=True):
        cells = [_text(where, cell, own) for cell, own in zip(row, written, strict=True)]
        if any(cells):
            number = next(cell.row for cell in row if cell.value is not None)
            found.append((number, tuple(cells)))
    # Columns that are empty to the end of the sheet were formatted once, and hold nothing.
    width = max((at + 1 for _, row in found for at, cell in enumerate(row) if cell), default=0)
    return [(line, (*row, *[""] * width)[:width]) for line, row in found]


def _text(where: str, cell: Any, written: Any) -> str:
    value = cell.value
    if written.data_type == "f" and value is None:
        raise OperatorError(
            f"{where}, cell {written.coordinate}: a formula whose figure is not kept in the file: "
            "open it, save it, and try again, or paste the figures"
        )
    if value is None:
        return ""
    if cell.data_type == "e":
        raise OperatorError(f"{where}, cell {written.coordinate} shows {value}: mend it there")
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        return _figure(value, str(cell.number_format))
    return str(value).strip()


def _figure(value: float, shown_as: str) -> str:
    """At most the fifteen figures that a sheet keeps; as many decimals as it shows, where it

    shows no fewer than there are.
    """
    exact = Decimal(f"{value:.15g}")
    pattern = _FIXED.fullmatch(shown_as)
    places = len(pattern[1] or "") if pattern else 0
    least = max(0, -int(exact.normalize().as_tuple().exponent))
    return f"{exact:.{max(places, least)}f}"
