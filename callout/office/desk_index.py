"""Everything that the journals of a survey or site hold, to be found quickly: in memory only.

Filled from the journals' own tables and made anew from them at any time; nothing is kept. What is
shown of a reading is read from its journal again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from callout.crews.recorder import Recorder
from callout.crews.site import Site, is_site, journals_at, site_folders
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.reader import JournalReader
from callout.office.desk_tables import (
    LEFT,
    LIMITS,
    MEASURED,
    OF_A_READING,
    SEVERAL,
    SHOWN,
    STANDING,
    TABLES,
    TAKE_READING,
    TAKE_ROSTER,
)


@dataclass(frozen=True)
class Found:
    """A reading found: whose journal holds it (by number), and the entry there."""

    recorder: int
    entry: int


@dataclass(frozen=True)
class Left:
    """A tree of the roster that no reading or status stands for; ``survey`` names the roster's."""

    survey: str
    plot: str
    tag: str
    species: str


@dataclass(frozen=True)
class Rostered:
    """A tree of a plot as the roster of ``recorders`` has it; ``past`` is JSON."""

    tag: str
    species: str
    past: str
    recorders: frozenset[int]


@dataclass(frozen=True)
class Sized:
    """A size that stands, as amended where somebody ruled so."""

    found: Found
    tag: str
    stem: str
    at: str
    value: str
    unit: str
    alive: bool


class DeskIndex:
    """The readings and rosters at ``path``. Raises OperatorError where there are none."""

    def __init__(self, path: Path) -> None:
        self.united = is_site(path)
        self.parts: list[tuple[Recorder | None, SurveyFolder]] = journals_at(path)
        self.name = Site(path).path.resolve().name
        if not self.united:
            self.name = self.parts[0][1].config().name or self.name
        self._db = sqlite3.connect(":memory:", check_same_thread=False)
        with ExitStack() as failed:
            failed.callback(self.close)
            self._fill()
            failed.pop_all()

    def close(self) -> None:
        """Give the memory up."""
        self._db.close()

    # ---- filling ----

    def _fill(self) -> None:
        self._db.create_function("casefold", 1, str.casefold, deterministic=True)
        self._db.executescript(TABLES)
        self._rosters: dict[str, int] = {}
        self._surveys: list[str] = []
        for number, (_, folder) in enumerate(self.parts):
            with folder.reading() as reader:
                self._take(number, folder, reader)
        self._db.executescript(STANDING)
        if len(self.parts) > 1:
            self._db.execute(SEVERAL, LIMITS)
        self._db.commit()

    def _take(self, number: int, folder: SurveyFolder, reader: JournalReader) -> None:
        roster = reader.latest("roster")
        name = roster.hash if roster else ""
        is_new, of = name not in self._rosters, self._rosters.setdefault(name, len(self._surveys))
        self._db.execute("INSERT INTO recorders VALUES (?, ?)", (number, of))
        if is_new:
            self._surveys.append(f"{folder.config().name or self.name}, {_begun(reader)}")
        # SQLite takes the roster in one step without Python; the readings are read meanwhile.
        with ThreadPoolExecutor(1) as beside:
            taken = (of, roster.body if is_new and roster is not None else "[]")
            filled = beside.submit(self._db.execute, TAKE_ROSTER, taken)
            rows = list(reader.reading_rows(OF_A_READING.format(number=number)))
            filled.result()
        self._db.executemany(TAKE_READING, rows)

    def rule(self, ruled: Iterable[tuple[int, int, str, str]]) -> None:
        """The newest ruling on each reading: recorder's number, entry, verdict, size or ''.

        On all others there is none.
        """
        self._db.execute("UPDATE readings SET ruled = '', amended = '' WHERE ruled <> ''")
        self._db.executemany(
            "UPDATE readings SET ruled = ?3, amended = ?4 WHERE recorder = ?1 AND entry = ?2",
            list(ruled),
        )
        self._db.commit()

    def grow(self, plot: str, grown: Mapping[Found, str]) -> None:
        """Say which readings of a plot grew out of bounds, and how; no others did."""
        self._db.execute("UPDATE readings SET grown = '' WHERE plot = ? AND grown <> ''", (plot,))
        self._db.executemany(
            "UPDATE readings SET grown = ? WHERE recorder = ? AND entry = ?",
            [(told, found.recorder, found.entry) for found, told in grown.items()],
        )
        self._db.commit()

    # ---- finding ----

    def plots(self) -> list[str]:
        """Every plot of any roster or reading."""
        rows = self._db.execute("SELECT plot FROM trees UNION SELECT plot FROM readings ORDER BY 1")
        return [str(row[0]) for row in rows]

    def count(self, show: str, find: str = "", plot: str = "") -> int:
        """How many readings a list holds."""
        where, values = _where(show, find, plot)
        row = self._db.execute(f"SELECT count(*) FROM readings r WHERE {where}", values).fetchone()
        return int(row[0])

    def found(
        self, show: str, find: str = "", plot: str = "", start: int = 0, most: int = -1
    ) -> list[Found]:
        """The readings of a list in the order of the walk, ``most`` of them from ``start`` on."""
        where, values = _where(show, find, plot)
        rows = self._db.execute(
            f"SELECT r.recorder, r.entry FROM readings r WHERE {where}"
            " ORDER BY r.walk IS NULL, r.walk, r.plot, r.tag, r.at LIMIT :most OFFSET :start",
            {**values, "most": most, "start": start},
        )
        return [Found(*row) for row in rows]

    def left(
        self, find: str = "", plot: str = "", start: int = 0, most: int = -1
    ) -> tuple[list[Left], int]:
        """Trees that nobody measured who worked by their roster, and how many there are."""
        values = {"plot": plot, "find": find.casefold().strip(), "most": most, "start": start}
        (count,) = self._db.execute(f"SELECT count(*) {LEFT}", values).fetchone()
        rows = self._db.execute(
            f"SELECT t.roster, t.plot, t.tag, t.species {LEFT}"
            " ORDER BY t.roster, t.walk LIMIT :most OFFSET :start",
            values,
        )
        return [Left(self._surveys[row[0]], *row[1:]) for row in rows], int(count)

    def grown(self, found: Found) -> str:
        """How a reading's growth is out of bounds; '' where it is not."""
        row = self._db.execute(
            "SELECT grown FROM readings WHERE recorder = ? AND entry = ?",
            (found.recorder, found.entry),
        ).fetchone()
        return str(row[0]) if row else ""

    def since(self, found: Found) -> str:
        """What became of a reading that no longer stands; '' of one that does."""
        row = self._db.execute(
            "SELECT stands, plot, tag, stem FROM readings WHERE recorder = ? AND entry = ?",
            (found.recorder, found.entry),
        ).fetchone()
        if row is None or row[0]:
            return ""
        later = self._db.execute(
            "SELECT entry, void FROM readings WHERE recorder = ? AND supersedes = ?"
            " AND entry > ? ORDER BY entry DESC LIMIT 1",
            (found.recorder, found.entry, found.entry),
        ).fetchone()
        if later is None:
            return "does not stand"
        return f"{'undone' if later[1] else 'superseded'} by entry {later[0]}"

    # ---- of one plot ----

    def trees(self, plot: str, tag: str = "") -> list[Rostered]:
        """The trees of a plot, or one of them, as every roster has them."""
        rows = self._db.execute(
            "SELECT tag, species, past, roster FROM trees WHERE plot = :plot"
            " AND (:tag = '' OR tag = :tag) ORDER BY roster, walk",
            {"plot": plot, "tag": tag},
        )
        of = {roster: self._working_by(roster) for roster in range(len(self._surveys))}
        return [Rostered(row[0], row[1], row[2], of[row[3]]) for row in rows]

    def _working_by(self, roster: int) -> frozenset[int]:
        rows = self._db.execute("SELECT number FROM recorders WHERE roster = ?", (roster,))
        return frozenset(row[0] for row in rows)

    def sizes(self, plot: str, tag: str = "") -> list[Sized]:
        """The sizes that stand of a plot's stems, or of one tree's, in the order of time."""
        one = " AND r.tag = :tag" if tag else ""
        values = {"plot": plot, "tag": tag}
        rows = self._db.execute(f"{MEASURED}{one} ORDER BY julianday(r.at)", values)
        return [
            Sized(Found(recorder, entry), tag, stem, at, value, unit, bool(alive))
            for recorder, entry, tag, stem, at, value, unit, alive in rows
        ]


def states_at(path: Path) -> tuple[tuple[str, int, int], ...]:
    """What tells the journals of a survey or site, once added to, from what they were."""
    folders = site_folders(Site(path)) if is_site(path) else [open_survey(path)]
    found = [(str(folder.path), folder.database.stat()) for folder in folders]
    return tuple((name, state.st_mtime_ns, state.st_size) for name, state in found)


def _where(show: str, find: str, plot: str) -> tuple[str, dict[str, object]]:
    where = (
        f"({SHOWN[show]}) AND (:plot = '' OR r.plot = :plot)"
        " AND (:find = '' OR instr(r.text, :find))"
    )
    return where, {"plot": plot, "find": find.casefold().strip()}


def _begun(reader: JournalReader) -> str:
    first = reader.first(("opened",))
    return first.at[:10] if first else "not begun"
