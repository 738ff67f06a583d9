"""Earlier visits' measurements in full, as one journal entry of the next visit's survey.

A roster holds dates and diameters only; here a row keeps its stem, state, height, who and more, so
that nothing is lost from one visit to the next. Texts only; the reports interpret them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from callout.core.errors import StorageError
from callout.journal.reader import JournalReader

KIND = "earlier"
Row = dict[str, str]


def earlier_body(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, Any]:
    """Rows of texts as the body of an entry."""
    return {"columns": list(columns), "rows": [list(row) for row in rows]}


def earlier_rows(reader: JournalReader) -> list[Row]:
    """The rows that a survey was started with, by column; empty if it was started from a roster.

    Raises StorageError for an entry of another form.
    """
    entry = reader.latest(KIND)
    if entry is None:
        return []
    try:
        columns, rows = entry.content["columns"], entry.content["rows"]
        found = [dict(zip(columns, row, strict=True)) for row in rows]
    except (KeyError, TypeError, ValueError) as error:
        raise StorageError(f"journal entry {entry.seq} holds no rows: {error!r}") from error
    if not all(isinstance(cell, str) for row in found for cell in row.values()):
        raise StorageError(f"journal entry {entry.seq} holds cells that are no texts")
    return found
