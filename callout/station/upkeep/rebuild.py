"""Rebuilds the tables: the journal's events, fed to a fresh session, give every saved row.

The rows are written into a new survey folder, or compared with those on disk (``table_check``).
Nothing is heard or decided here; the session's own rules do it all again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from callout.core.checking.checks import Rules
from callout.core.errors import CalloutError, OperatorError
from callout.core.events import Effect, Event, KeepMemo, Save
from callout.core.model import PlotSettings, Tree
from callout.journal.codec import reading_row, settings_from, trees_from
from callout.journal.copying import write_journal
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry, by_plot, plots_of
from callout.proof.verify import TABLES, Fault, Snapshot
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.survey.check_settings import rules_in
from callout.survey.files import FOLDER_MODE, new_folder
from callout.survey.guard import MOST_SOUND_BYTES, MOST_TEXT_BYTES, copy_plain, is_plain

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
    """The survey from the roster and the settings that were journalled so far."""

    def __init__(self) -> None:
        self._trees: Mapping[str, Mapping[str, Tree]] = {}
        self._settings: dict[str, PlotSettings] = {}
        self._rules: dict[str, Rules] = {}
        self._survey = Survey({})

    @property
    def survey(self) -> Survey:
        """The survey at this point."""
        return self._survey

    @property
    def trees(self) -> Mapping[str, Mapping[str, Tree]]:
        """The roster's trees, by plot and tag."""
        return self._trees

    def after(self, entry: Entry) -> Survey:
        """The survey after ``entry``."""
        if entry.kind == "roster":
            self._trees = by_plot(trees_from(entry.content))
        elif entry.kind == "settings":
            self._settings = settings_from(entry.content)
            self._rules = rules_in(entry.content)
        if entry.kind in ("roster", "settings") and self._trees and self._settings:
            self._survey = Survey(plots_of(self._trees, self._settings), self._rules)
        return self._survey


class Session:
    """A session that follows a journal: fresh, or from a kept state."""

    def __init__(self, known: Known | None = None, memory: Memory | None = None) -> None:
        self.known, self.memory = known or Known(), memory or Memory()

    def copy(self) -> Session:
        """An independent copy."""
        known = Known()
        vars(known).update(vars(self.known))
        return Session(known, self.memory)

    def take(self, entry: Entry) -> Step:
        """Take the next entry. Raises whatever an altered one leads to."""
        survey = self.known.after(entry)
        before, event = self.memory, entry.event
        effects: tuple[Effect, ...] = ()
        if event is not None:
            self.memory, effects = step(survey, before, event)
        return Step(entry, event, survey, before, self.memory, effects)


def steps(entries: Iterable[Entry]) -> Iterator[Step]:
    """Feed the entries to a fresh session, one at a time."""
    session = Session()
    for entry in entries:
        yield session.take(entry)


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
        return tables, [unfollowed(reached + 1, error)]
    return tables, []


def unfollowed(entry: int, error: Exception) -> Fault:
    """The entry is one that a session cannot take."""
    why = str(error) if isinstance(error, CalloutError) else repr(error)
    return Fault(entry, f"the session cannot follow it: {why}")


# ---- a new folder ----


def rebuild(folder: SurveyFolder, snapshot: Snapshot, into: Path) -> SurveyFolder:
    """A new survey at ``into`` with the same journal and sounds, and rebuilt tables.

    Raises OperatorError if ``into`` exists or the journal cannot be followed to its end.
    """
    tables, faults = made_again(snapshot.entries)
    if faults:
        raise OperatorError(f"{folder.path} cannot be rebuilt: {faults[0]}")
    with new_folder(into) as building:
        _copy_files(folder, building)
        write_journal(SurveyFolder(building).database, snapshot.entries, tables)
    return SurveyFolder(into)


def _copy_files(folder: SurveyFolder, building: Path) -> None:
    """Everything but the database, and the files of work under way."""
    (building / "audio").mkdir(mode=FOLDER_MODE)
    for path in sorted(folder.path.iterdir()):
        if is_plain(path) and not path.name.startswith((".", folder.database.name)):
            copy_plain(path, building / path.name, MOST_TEXT_BYTES)
    for path in sorted((folder.path / "audio").glob("*.flac")):
        copy_plain(path, building / "audio" / path.name, MOST_SOUND_BYTES)
