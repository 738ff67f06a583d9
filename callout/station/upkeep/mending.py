"""Reopens a journal after the disk refused: the same journal, or nothing.

A refused commit may still have reached the disk; the journal itself shows it. A card that was
removed and put back is used again only if the last entry written is on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from callout.core.errors import CalloutError, StorageError
from callout.core.events import Effect, Event
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter
from callout.session.state import Memory, Survey
from callout.station.upkeep.kept_state import resume
from callout.station.upkeep.rebuild import Session, Step

Head = tuple[int, str]
"""Number and hash of the last entry that was surely written."""


@dataclass(frozen=True)
class Mended:
    """The reopened journal, the session according to it, and its steps that were not reported."""

    writer: JournalWriter
    survey: Survey
    memory: Memory
    untold: tuple[tuple[Event, tuple[Effect, ...]], ...]


def mended(folder: SurveyFolder, head: Head) -> Mended:
    """Reopen the journal. Raises StorageError while that is impossible."""
    place_of(folder.database)
    try:
        writer = JournalWriter(folder.database)
    except StorageError:
        raise
    except CalloutError as error:  # the folder is gone, or somebody else has taken it
        raise StorageError(str(error)) from error
    try:
        last, later = _walk(folder, head)
    except BaseException:
        writer.close()
        raise
    untold = tuple((item.event, item.effects) for item in later if item.event is not None)
    return Mended(writer, last.known.survey, last.memory, untold)


def _walk(folder: SurveyFolder, head: Head) -> tuple[Session, list[Step]]:
    with folder.reading() as reader:
        known = reader.entry(head[0])
        begun = resume(reader)
        session, after = begun.session, begun.entry
        if after > head[0]:
            session, after = Session(), 0
        later = []
        for entry in reader.entries(after=after):
            done = session.take(entry)
            if entry.seq > head[0]:
                later.append(done)
    if known is None or known.hash != head[1]:
        raise StorageError(
            f"{folder.path} does not hold what was last written there: put the right disk back"
        )
    return session, later


Place = tuple[int, int]


def place_of(database: Path) -> Place:
    """Identifies the file and its disk. Raises StorageError if it is gone."""
    try:
        status = database.stat()
    except OSError as error:
        raise StorageError(
            f"{database} is not there any more ({error.strerror}): put the disk or folder back"
        ) from error
    return status.st_dev, status.st_ino


def same_place(database: Path, place: Place) -> None:
    """Raise StorageError unless the journal's file is still the one that is open.

    SQLite goes on writing into a file that was removed or unmounted, and nobody would notice.
    """
    if place_of(database) != place:
        raise StorageError(f"{database} is another file now: put the right disk or folder back")
