"""Writes a whole journal at once: entries and tables as read elsewhere.

Nothing is decided or computed here; the caller has checked the content.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from callout.journal.reader import Entry
from callout.journal.schema import connect
from callout.survey.files import FILE_MODE


def write_journal(
    database: Path, entries: Iterable[Entry], tables: Mapping[str, Iterable[Mapping[str, Any]]]
) -> None:
    """Write a new journal at ``database`` with these entries, hashes included, and these rows."""
    with closing(connect(database)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(
            "INSERT INTO entries VALUES (?,?,?,?,?,?)",
            (tuple(item.columns.values()) for item in entries),
        )
        for table, rows in tables.items():
            for row in rows:
                columns, marks = ",".join(row), ",".join("?" * len(row))
                connection.execute(
                    f"INSERT INTO {table} ({columns}) VALUES ({marks})", tuple(row.values())
                )
        connection.execute("COMMIT")
    database.chmod(FILE_MODE)
