"""Reads whatever a journal's file holds, in order and in pages, and reports unreadable parts.

The only check is whether SQLite can read it. Each page is a query of its own, so that nobody
working in the journal is kept waiting; entries are only ever added, so the pages are consistent.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from callout.core.errors import StorageError
from callout.journal.reader import Entry
from callout.journal.schema import StrangeError, connect_to_read
from callout.proof.findings import Fault

TABLES = ("readings", "memos")
_PAGE = 2000
_ENTRY = "seq, at, kind, body, prev, hash"
Row = dict[str, Any]


@dataclass
class Snapshot:
    """All rows at one moment."""

    entries: list[Entry] = field(default_factory=list)
    tables: dict[str, list[Row]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)


class Source:
    """An open journal in any condition; ``faults`` grows as it is read.

    What is added after ``begin`` is not read.
    """

    def __init__(self, connection: sqlite3.Connection | None, name: str) -> None:
        self._connection, self._name = connection, name
        self._last: int | None = None
        self._newest = 0
        self.faults: list[Fault] = []

    @property
    def damaged(self) -> bool:
        """Whether a fault was found in the file itself or in its schema."""
        return bool(self.faults)

    def begin(self) -> None:
        """Note the last entry, and check the file as a whole."""
        with self._told_faults():
            (self._last,) = self._query("SELECT max(seq) FROM entries").fetchone()
            for (told,) in self._query("PRAGMA integrity_check(5)"):
                if told != "ok":
                    self.faults.append(Fault(0, f"the database is damaged: {told}"))

    def entries(self) -> Iterator[Entry]:
        """Every entry, by number."""
        for row in self._pages("entries", "seq", _ENTRY):
            self._newest = row["seq"]
            yield Entry(*row)

    def rows(self, table: str) -> Iterator[Row]:
        """Every row of one of ``TABLES``, by entry."""
        yield from map(dict, self._pages(table, "entry", "*"))

    def _pages(self, table: str, key: str, columns: str) -> Iterator[sqlite3.Row]:
        after: int | None = None
        while self._connection is not None:
            page: list[sqlite3.Row] = []
            with self._told_faults():
                page = self._page(table, key, columns, after).fetchall()
            yield from page
            if len(page) < _PAGE:
                return
            newest = page[-1][key]
            if not isinstance(newest, int) or (after is not None and newest <= after):
                self.faults.append(Fault(0, f"{table} is not in the order of its numbers"))
                return
            after = newest

    def _page(self, table: str, key: str, columns: str, after: int | None) -> sqlite3.Cursor:
        bounds, given = f"{key} <= ?", [self._last]
        if after is not None:
            bounds, given = f"{bounds} AND {key} > ?", [self._last, after]
        return self._query(
            f"SELECT {columns} FROM {table} WHERE {bounds} ORDER BY {key} LIMIT {_PAGE}", given
        )

    def _query(self, sql: str, given: list[int | None] | None = None) -> sqlite3.Cursor:
        assert self._connection is not None
        return self._connection.execute(sql, given or [])

    @contextmanager
    def _told_faults(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, TypeError, ValueError) as error:
            after = f" after entry {self._newest}" if self._newest else ""
            self.faults.append(Fault(0, f"{self._name} is damaged{after}: {error}"))


@contextmanager
def open_source(database: Path) -> Iterator[Source]:
    """Open the journal at ``database``, to be read as far as possible.

    Raises StorageError if the file cannot be opened at all, e.g. for lack of permission.
    """
    lacking: list[str] = []
    try:
        connection = connect_to_read(database, lacking)
    except StrangeError as error:
        source = Source(None, database.name)
        source.faults += [Fault(0, told) for told in error.faults]
        yield source
        return
    except (StorageError, UnicodeDecodeError) as error:
        cause = error.__cause__ or error  # a damaged schema may not even be text
        if not _is_damage(cause):
            raise
        source = Source(None, database.name)
        source.faults.append(Fault(0, f"{database.name} is damaged: {cause}"))
        yield source
        return
    # Bytes that are not UTF-8 must be reported as altered, not end the reading.
    connection.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
    with closing(connection):
        source = Source(connection, database.name)
        source.faults += [Fault(0, told) for told in lacking]
        source.begin()
        yield source


def take_snapshot(database: Path) -> Snapshot:
    """Every row of the journal, and a fault if the file cannot be read to its end.

    Raises StorageError as ``open_source`` does.
    """
    with open_source(database) as source:
        entries = list(source.entries())
        tables = {table: list(source.rows(table)) for table in TABLES}
        return Snapshot(entries, tables, source.faults)


def _is_damage(error: BaseException) -> bool:
    if isinstance(error, sqlite3.OperationalError):
        return "no such" in str(error)
    return isinstance(error, sqlite3.DatabaseError | UnicodeDecodeError)
