"""Reads a journal: its events in order, its roster and settings, its current readings."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from callout.core.errors import StorageError
from callout.core.events import Event
from callout.core.model import Plot, PlotSettings, Reading, Tree
from callout.journal.codec import event_from, reading_from, settings_from, trees_from
from callout.journal.kinds import TELLING, refuse_unknown, written_by
from callout.journal.schema import connect_to_read

_EVERY_KIND = """
WITH RECURSIVE every(kind) AS (
    SELECT min(kind) FROM entries INDEXED BY entries_kind UNION ALL
    SELECT (SELECT min(kind) FROM entries INDEXED BY entries_kind WHERE kind > every.kind)
    FROM every WHERE kind IS NOT NULL
) SELECT kind FROM every WHERE kind IS NOT NULL
"""


@dataclass(frozen=True)
class Entry:
    """One journal entry as stored; ``body`` is canonical JSON text."""

    seq: int
    at: str
    kind: str
    body: str
    prev: str
    hash: str

    @cached_property
    def content(self) -> dict[str, Any]:
        """The parsed body; not to be changed. Raises StorageError if it is not a JSON object."""
        try:
            content = json.loads(self.body)
        except (RecursionError, TypeError, ValueError) as error:
            raise StorageError(f"journal entry {self.seq} is not readable: {error}") from error
        if not isinstance(content, dict):
            raise StorageError(f"journal entry {self.seq} is not an object")
        return content

    @property
    def columns(self) -> dict[str, int | str]:
        """The stored values, by column, in order."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @property
    def event(self) -> Event | None:
        """The session event it holds, if any. Raises StorageError for an unknown kind."""
        refuse_unknown((self.kind,), f"journal entry {self.seq}", "")
        return event_from(self.seq, self.at, self.kind, self.content)


class JournalReader:
    """A read-only view of one survey's journal."""

    def __init__(self, database: Path) -> None:
        """Raises StorageError for a file that is no journal, or needs a newer version."""
        self._database: sqlite3.Connection = connect_to_read(database)
        try:
            refuse_unknown(self._kinds(), str(database), self.program)
        except BaseException:
            self.close()
            raise

    @property
    def program(self) -> str:
        """The version that wrote the newest entries; '' if they do not say."""
        told = [entry for kind in TELLING if (entry := self.latest(kind))]
        return written_by(told[0].content) if told else ""

    def _kinds(self) -> list[str]:
        """Every kind there is; fast if the database has an index of them."""
        with suppress(sqlite3.Error):
            return [row[0] for row in self._database.execute(_EVERY_KIND)]
        rows = self._database.execute("SELECT DISTINCT kind FROM entries")
        return [row[0] for row in rows]

    def entries(self, after: int = 0) -> Iterator[Entry]:
        """Every entry after number ``after``, oldest first."""
        rows = self._database.execute("SELECT * FROM entries WHERE seq>? ORDER BY seq", (after,))
        for row in rows:
            yield Entry(**dict(row))

    def latest(self, kind: str) -> Entry | None:
        """The newest entry of ``kind``."""
        row = self._database.execute(
            "SELECT * FROM entries WHERE kind=? ORDER BY seq DESC LIMIT 1", (kind,)
        ).fetchone()
        return Entry(**dict(row)) if row else None

    def last_of(self, kind: str) -> int:
        """The number of the newest entry of ``kind``, which is not read; 0 for none."""
        (seq,) = self._database.execute(
            "SELECT max(seq) FROM entries WHERE kind=?", (kind,)
        ).fetchone()
        return int(seq or 0)

    @property
    def last(self) -> int | None:
        """The number of the newest entry."""
        (seq,) = self._database.execute("SELECT max(seq) FROM entries").fetchone()
        return None if seq is None else int(seq)

    def entry(self, seq: int) -> Entry | None:
        """The entry of that number."""
        row = self._database.execute("SELECT * FROM entries WHERE seq=?", (seq,)).fetchone()
        return Entry(**dict(row)) if row else None

    def first(self, kinds: Iterable[str]) -> Entry | None:
        """The oldest entry of any of these kinds."""
        found = [
            self._database.execute(
                "SELECT * FROM entries WHERE kind=? ORDER BY seq LIMIT 1", (kind,)
            ).fetchone()
            for kind in kinds
        ]
        rows = [Entry(**dict(row)) for row in found if row]
        return min(rows, key=lambda entry: entry.seq, default=None)

    def of_kind(self, kind: str) -> list[Entry]:
        """Every entry of ``kind``, oldest first."""
        rows = self._database.execute("SELECT * FROM entries WHERE kind=? ORDER BY seq", (kind,))
        return [Entry(**dict(row)) for row in rows]

    def plots(self) -> dict[str, Plot]:
        """The survey's plots from its latest roster and settings."""
        roster, settings = self.latest("roster"), self.latest("settings")
        if roster is None or settings is None:
            raise StorageError("the journal holds no roster: make the survey with 'callout new'")
        return plots_of(by_plot(trees_from(roster.content)), settings_from(settings.content))

    def readings(self, entries: Iterable[int] | None = None) -> list[Reading]:
        """Every reading ever saved, oldest first, including superseded ones and undos;

        or those of some entries only.
        """
        asked = ""
        values: tuple[str, ...] = ()
        if entries is not None:
            asked = "WHERE entry IN (SELECT value FROM json_each(?))"
            values = (json.dumps(list(entries)),)
        rows = self._database.execute(f"SELECT * FROM readings {asked} ORDER BY entry", values)
        return [reading_from(row) for row in rows]

    def reading_rows(self, columns: str) -> Iterator[tuple[Any, ...]]:
        """Every reading as these columns of its table (SQL), oldest first; one at a time."""
        cursor = self._database.cursor()
        cursor.row_factory = None
        return cursor.execute(f"SELECT {columns} FROM readings ORDER BY entry")

    def reading(self, entry: int) -> Reading | None:
        """The reading that entry saved."""
        row = self._database.execute("SELECT * FROM readings WHERE entry=?", (entry,)).fetchone()
        return reading_from(row) if row else None

    def worked(self, who: str) -> set[tuple[str, str]]:
        """The plots in which that person saved readings, each with the day (ISO 8601) of it."""
        rows = self._database.execute(
            "SELECT DISTINCT plot, substr(at, 1, 10) FROM readings WHERE who=?", (who,)
        )
        return {(row[0], row[1]) for row in rows}

    def memos(self) -> list[dict[str, Any]]:
        """Every note kept, oldest first."""
        return [dict(row) for row in self._database.execute("SELECT * FROM memos ORDER BY entry")]

    def close(self) -> None:
        """Close the database."""
        self._database.close()


def by_plot(trees: Iterable[Tree]) -> dict[str, dict[str, Tree]]:
    """The trees of each plot by tag, in roster order."""
    found: dict[str, dict[str, Tree]] = {}
    for tree in trees:
        found.setdefault(tree.plot, {})[tree.tag] = tree
    return found


def plots_of(
    trees: Mapping[str, Mapping[str, Tree]], settings: Mapping[str, PlotSettings]
) -> dict[str, Plot]:
    """Plots by name, each with its trees, which are not looked at."""
    default = next(iter(settings.values()))
    return {
        name: Plot(settings.get(name) or replace(default, plot=name), trees.get(name, {}))
        for name in {**settings, **trees}
    }


def current(readings: list[Reading]) -> list[Reading]:
    """The current readings: not superseded by a current one, not undone; in the order given."""
    undone = {item.supersedes for item in readings if item.void}
    standing = [item for item in readings if not item.void and item.entry not in undone]
    replaced = {item.supersedes for item in standing if item.supersedes is not None}
    return [item for item in standing if item.entry not in replaced]
