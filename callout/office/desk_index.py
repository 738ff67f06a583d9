"""Everything that the journals of a survey or site hold, to be found quickly: in memory only.

Filled from the journals' own tables and made anew from them at any time; nothing is kept. Floats
here choose what to show and nothing else; what is shown is read from the journals again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from callout.core.statuses import in_words
from callout.crews.recorder import Recorder
from callout.crews.site import Site, is_site, journals_at
from callout.crews.twice import WITHIN_DAYS
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.office.desk_tables import (
    GROWN,
    INDEXES,
    LIMITS,
    MM,
    SEVERAL,
    SHOWN,
    STANDING,
    TABLES,
)


@dataclass(frozen=True)
class Found:
    """A reading found: whose journal holds it (by number), and the entry there."""

    recorder: int
    entry: int


@dataclass(frozen=True)
class Left:
    """A tree of the roster that no reading or status stands for."""

    roster: str
    plot: str
    tag: str
    species: str


class DeskIndex:
    """The readings and rosters at ``path``. Raises OperatorError where there are none."""

    def __init__(self, path: Path) -> None:
        self.united = is_site(path)
        self.parts: list[tuple[Recorder | None, SurveyFolder]] = journals_at(path)
        self.name = Site(path).path.resolve().name
        if not self.united:
            self.name = self.parts[0][1].config().name or self.name
        self._db = sqlite3.connect(":memory:", check_same_thread=False)
        self._db.executescript(TABLES)
        self.names: dict[str, str] = {}
        self._roster_of: dict[str, int] = {}
        for number, (_, folder) in enumerate(self.parts):
            with folder.reading() as reader:
                self._take(number, folder, reader)
        self._reckoned = False
        self._db.executescript(INDEXES + STANDING)
        if len(self.parts) > 1:
            self._db.execute(SEVERAL, LIMITS)
        self._db.commit()

    def _reckon(self) -> None:
        """Earlier sizes and growth: a third of the work, done when first asked for."""
        if self._reckoned:
            return
        self._reckoned = True
        for number in self._roster_of.values():
            folder = self.parts[number][1]
            with folder.reading() as reader:
                roster = reader.latest("roster")
            if roster is not None:
                self._take_sizes(roster.body)
        self._db.execute(
            "INSERT INTO sizes SELECT plot, tag, stem, day, mm, '', '', '', recorder FROM readings"
            " WHERE stands AND mm IS NOT NULL"
        )
        self._db.executescript("CREATE INDEX sizes_tree ON sizes(plot, tag, stem, day);")
        self._db.execute(GROWN, LIMITS)
        self._db.commit()

    def close(self) -> None:
        """Give the memory up."""
        self._db.close()

    # ---- filling ----

    def _take(self, number: int, folder: SurveyFolder, reader: JournalReader) -> None:
        roster = reader.latest("roster")
        name = roster.hash if roster else ""
        self._db.execute("INSERT INTO recorders VALUES (?, ?)", (number, name))
        if roster is not None and name not in self.names:
            self._take_roster(name, roster.body)
            self._roster_of[name] = number
        self.names[name] = f"{folder.config().name or self.name}, {_begun(reader)}"
        walk = {
            (plot, tag): at
            for at, plot, tag in self._db.execute(
                "SELECT walk, plot, tag FROM trees WHERE roster = ?", (name,)
            )
        }
        self._db.executemany(
            "INSERT INTO readings(recorder, entry, plot, tag, stem, day, mm, flagged, supersedes,"
            " void, walk, text) VALUES (?, ?, ?, ?, ?, julianday(?), ?, ?, ?, ?, ?, ?)",
            _rows(number, reader, walk),
        )

    def _take_roster(self, name: str, body: str) -> None:
        """Read by SQLite itself: a roster of a hundred thousand trees makes no objects here."""
        self._db.execute(
            "INSERT INTO trees SELECT ?, json_extract(value, '$.plot'),"
            " json_extract(value, '$.tag'), json_extract(value, '$.species'), key"
            " FROM json_each(?, '$.trees')",
            (name, body),
        )

    def _take_sizes(self, body: str) -> None:
        factor = " ".join(f"WHEN '{unit}' THEN {mm}" for unit, mm in MM.items())
        self._db.execute(
            "INSERT INTO sizes SELECT json_extract(t.value, '$.plot'),"
            " json_extract(t.value, '$.tag'), '', julianday(json_extract(p.value, '$.on')),"
            " json_extract(p.value, '$.value') *"
            f" CASE json_extract(p.value, '$.unit') {factor} END,"
            " json_extract(p.value, '$.on'), json_extract(p.value, '$.value'),"
            " json_extract(p.value, '$.unit'), -1"
            " FROM json_each(?, '$.trees') t, json_each(t.value, '$.past') p",
            (body,),
        )

    def rule(self, ruled: Iterable[tuple[int, int, str]]) -> None:
        """The newest ruling on each reading (recorder's number, entry, verdict); on others none."""
        self._db.execute("UPDATE readings SET ruled = '' WHERE ruled <> ''")
        self._db.executemany(
            "UPDATE readings SET ruled = ? WHERE recorder = ? AND entry = ?",
            [(verdict, number, entry) for number, entry, verdict in ruled],
        )
        self._db.commit()

    # ---- finding ----

    def plots(self) -> list[str]:
        """Every plot of any roster or reading."""
        rows = self._db.execute("SELECT plot FROM trees UNION SELECT plot FROM readings ORDER BY 1")
        return [str(row[0]) for row in rows]

    def count(self, show: str, find: str = "", plot: str = "") -> int:
        """How many readings a list holds."""
        if show == "growth":
            self._reckon()
        where, values = _where(show, find, plot)
        row = self._db.execute(f"SELECT count(*) FROM readings r WHERE {where}", values).fetchone()
        return int(row[0])

    def found(
        self, show: str, find: str = "", plot: str = "", start: int = 0, most: int = -1
    ) -> list[Found]:
        """The readings of a list in the order of the walk, ``most`` of them from ``start`` on."""
        if show == "growth":
            self._reckon()
        where, values = _where(show, find, plot)
        rows = self._db.execute(
            f"SELECT r.recorder, r.entry FROM readings r WHERE {where}"
            " ORDER BY r.walk, r.plot, r.tag, r.day LIMIT :most OFFSET :start",
            {**values, "most": most, "start": start},
        )
        return [Found(*row) for row in rows]

    def left(
        self, find: str = "", plot: str = "", start: int = 0, most: int = -1
    ) -> tuple[list[Left], int]:
        """Trees that nobody measured who worked by their roster, and how many there are."""
        where = (
            "FROM trees t WHERE NOT EXISTS (SELECT 1 FROM readings r JOIN recorders"
            " ON number = r.recorder WHERE r.plot = t.plot AND r.tag = t.tag AND r.stands"
            " AND recorders.roster = t.roster) AND (:plot = '' OR t.plot = :plot)"
            " AND (:find = '' OR instr(lower(t.plot || ' ' || t.tag || ' ' || t.species), :find))"
        )
        values = {"plot": plot, "find": find.casefold(), "most": most, "start": start}
        (count,) = self._db.execute(f"SELECT count(*) {where}", values).fetchone()
        rows = self._db.execute(
            f"SELECT t.roster, t.plot, t.tag, t.species {where}"
            " ORDER BY t.roster, t.walk LIMIT :most OFFSET :start",
            values,
        )
        return [Left(*row) for row in rows], int(count)

    def since(self, found: Found) -> str:
        """What became of a reading that no longer stands; '' of one that does."""
        row = self._db.execute(
            "SELECT stands FROM readings WHERE recorder = ? AND entry = ?",
            (found.recorder, found.entry),
        ).fetchone()
        if row is None or row[0]:
            return ""
        later = self._db.execute(
            "SELECT entry, void FROM readings WHERE recorder = ? AND supersedes = ?"
            " ORDER BY entry DESC LIMIT 1",
            (found.recorder, found.entry),
        ).fetchone()
        if later is None:
            return "does not stand"
        return f"{'undone' if later[1] else 'superseded'} by entry {later[0]}"

    def before(self, found: Found) -> list[tuple[str, str, str, int, int]]:
        """Earlier sizes of the stem: a roster's day, value and unit, or a reading's recorder and

        day (then ``value`` is '').
        """
        self._reckon()
        rows = self._db.execute(
            "SELECT DISTINCT s.day_told, s.value, s.unit, s.recorder, ifnull(o.entry, 0)"
            " FROM readings r JOIN sizes s ON s.plot = r.plot AND s.tag = r.tag"
            " AND s.stem IN ('', r.stem) AND s.day < r.day - :days"
            " LEFT JOIN readings o ON o.recorder = s.recorder AND o.day = s.day AND o.plot = s.plot"
            " AND o.tag = s.tag AND o.stands WHERE r.recorder = :recorder AND r.entry = :entry"
            " ORDER BY s.day",
            {"days": WITHIN_DAYS, "recorder": found.recorder, "entry": found.entry},
        )
        return [(row[0], row[1], row[2], row[3], row[4]) for row in rows]


def _where(show: str, find: str, plot: str) -> tuple[str, dict[str, object]]:
    where = (
        f"({SHOWN[show]}) AND (:plot = '' OR r.plot = :plot)"
        " AND (:find = '' OR instr(r.text, :find))"
    )
    return where, {**LIMITS, "plot": plot, "find": find.casefold().strip()}


def _begun(reader: JournalReader) -> str:
    first = reader.first(("opened",))
    return first.at[:10] if first else "not begun"


def _rows(
    number: int, reader: JournalReader, walk: dict[tuple[str, str], int]
) -> Iterator[tuple[object, ...]]:
    last = len(walk)
    for row in reader.reading_rows():
        plot, tag, value = row["plot"], row["tag"], row["value"]
        warned = "" if row["warnings"] == "[]" else row["warnings"]
        text = " ".join((
            plot, tag, row["species"], row["who"], row["words"], warned,
            f"{value} {row['unit']}" if value else in_words(row["status"]),
        )).casefold()  # fmt: skip
        yield (
            number, row["entry"], plot, tag, row["stem"], row["at"],
            None if value is None else float(value) * MM[row["unit"]], bool(warned),
            row["supersedes"], row["void"], walk.get((plot, tag), last), text,
        )  # fmt: skip
