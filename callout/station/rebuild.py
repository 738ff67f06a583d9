"""Makes the tables anew: the journal's events, through a fresh session, give every saved row.

The rows are compared with those on disk bit for bit, or written into a new survey folder. Nothing
here is heard or decided; the session's own rules do it all again.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from callout.core.checks import Rules
from callout.core.errors import CalloutError, OperatorError
from callout.core.events import Effect, Event, KeepMemo, Save
from callout.core.model import PlotSettings, Tree
from callout.journal.check_settings import rules_in
from callout.journal.codec import reading_row, settings_from, trees_from
from callout.journal.copying import write_journal
from callout.journal.files import FOLDER_MODE, new_folder
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry, plots_of
from callout.journal.schema import LATER_COLUMNS
from callout.journal.verify import TABLES, Fault, Snapshot
from callout.session.machine import step
from callout.session.state import Memory, Survey

Row = dict[str, Any]


@dataclass(frozen=True)
class Step:
    """One journal entry taken through the session; no event and no effects for other entries."""

    entry: Entry
    event: Event | None
    survey: Survey
    before: Memory
    memory: Memory
    effects: tuple[Effect, ...]


class Known:
    """The survey as the roster and the settings that were journalled so far make it."""

    def __init__(self) -> None:
        self._trees: tuple[Tree, ...] = ()
        self._settings: dict[str, PlotSettings] = {}
        self._rules: dict[str, Rules] = {}
        self._survey = Survey({})

    def after(self, entry: Entry) -> Survey:
        """The survey once ``entry`` is known."""
        if entry.kind == "roster":
            self._trees = trees_from(entry.content)
        elif entry.kind == "settings":
            self._settings = settings_from(entry.content)
            self._rules = rules_in(entry.content)
        if entry.kind in ("roster", "settings") and self._trees and self._settings:
            self._survey = Survey(plots_of(self._trees, self._settings), self._rules)
        return self._survey


def steps(entries: Iterable[Entry]) -> Iterator[Step]:
    """Feed the entries to a fresh session, one at a time."""
    known, memory = Known(), Memory()
    for entry in entries:
        survey = known.after(entry)
        before, event = memory, entry.event
        effects: tuple[Effect, ...] = ()
        if event is not None:
            memory, effects = step(survey, memory, event)
        yield Step(entry, event, survey, before, memory, effects)


def rows_of(done: Step) -> Iterator[tuple[str, Row]]:
    """The table rows that an entry gives, with their table's name."""
    for effect in done.effects:
        if isinstance(effect, Save):
            yield "readings", reading_row(effect.reading)
        elif isinstance(effect, KeepMemo):
            yield "memos", {**vars(effect), "plot": done.memory.plot}


def made_again(entries: Iterable[Entry]) -> tuple[dict[str, list[Row]], list[Fault]]:
    """The tables that the journal gives, and a fault where it can be followed no further."""
    tables: dict[str, list[Row]] = {name: [] for name in TABLES}
    reached = 0
    try:
        for done in steps(entries):
            for table, row in rows_of(done):
                tables[table].append(row)
            reached = done.entry.seq
    except Exception as error:  # an altered entry may hold anything
        why = str(error) if isinstance(error, CalloutError) else repr(error)
        return tables, [Fault(reached + 1, f"the session cannot follow it: {why}")]
    return tables, []


def table_faults(snapshot: Snapshot) -> list[Fault]:
    """Where the tables on disk are not what the journal gives; empty where they are, bit for bit.

    Where the journal itself can be followed only in part, that is told, and nothing is compared
    beyond.
    """
    tables, faults = made_again(snapshot.entries)
    end = faults[0].entry if faults else None
    for table, wanted in tables.items():
        if table in snapshot.tables:
            faults += _differences(table, wanted, snapshot.tables[table], end)
    return sorted(faults, key=lambda fault: fault.entry)


def _differences(
    table: str, wanted: list[Row], found: list[Row], end: int | None
) -> Iterator[Fault]:
    later = LATER_COLUMNS.get(table, {})
    want = {row["entry"]: row for row in wanted}
    have = {row["entry"]: {**later, **row} for row in found}
    for entry in sorted(want.keys() | have.keys()):
        if end is not None and entry >= end:
            return
        if entry not in have:
            yield Fault(entry, f"its row of {table} is missing")
        elif entry not in want:
            yield Fault(entry, f"a row of {table} that the journal does not give")
        elif want[entry] != have[entry]:
            yield Fault(entry, f"{table} {_told_difference(want[entry], have[entry])}")


def _told_difference(want: Row, have: Row) -> str:
    name = next(name for name in [*want, *have] if want.get(name) != have.get(name))
    return f"{name} is {have.get(name)!r}, the journal gives {want.get(name)!r}"


# ---- a new folder ----


def rebuild(folder: SurveyFolder, snapshot: Snapshot, into: Path) -> SurveyFolder:
    """A new survey at ``into`` with the same journal and sounds, its tables made anew.

    Raises OperatorError where ``into`` exists or the journal cannot be followed to its end.
    """
    tables, faults = made_again(snapshot.entries)
    if faults:
        raise OperatorError(f"{folder.path} cannot be rebuilt: {faults[0]}")
    with new_folder(into) as building:
        _copy_files(folder, building)
        write_journal(SurveyFolder(building).database, snapshot.entries, tables)
    return SurveyFolder(into)


def _copy_files(folder: SurveyFolder, building: Path) -> None:
    """Everything but the database, and what belongs to work under way."""
    (building / "audio").mkdir(mode=FOLDER_MODE)
    for path in sorted(folder.path.iterdir()):
        if path.is_file() and not path.name.startswith((".", folder.database.name)):
            shutil.copy2(path, building / path.name)
    for path in sorted((folder.path / "audio").glob("*.flac")):
        shutil.copy2(path, building / "audio" / path.name)
