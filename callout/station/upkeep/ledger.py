"""The session's state and the journal behind it, which change together or not at all.

The disk comes first. Memory takes a step only when the step is committed; after a refusal the
journal is reopened and its content counts.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from callout.core.errors import StorageError
from callout.core.events import Effect, Event
from callout.core.saying import Saying, saying
from callout.journal.folder import SurveyFolder
from callout.journal.writer import JournalWriter
from callout.proof.seals import Seal, Sign, seal
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.station.upkeep.mending import mended, place_of, same_place
from callout.station.upkeep.notices import Noting
from callout.station.upkeep.recall import recall

SLOW_DISK_S = 2.0

TellDisk = Callable[[Saying | None], None]
Believed = Callable[[Event, tuple[Effect, ...]], None]


class Ledger:
    """One survey's state beside its open journal. Use from one thread at a time."""

    def __init__(self, folder: SurveyFolder, now: str, believed: Believed) -> None:
        """``believed`` is called with each step that the disk took although it had refused it."""
        self._folder, self._believed = folder, believed
        self._doubt = False  # whether the last commit may or may not have reached the disk
        self.tell_disk: TellDisk = lambda says: None
        """Called when the disk refuses or is slow (what is wrong), or is well (None)."""
        self.noting = Noting()
        """What this start asks people to look at; the answer's own entry follows its event."""
        self._writer = JournalWriter(folder.database)
        try:
            self.survey, self.memory = recall(folder, self._writer, now)
            self._place = place_of(folder.database)
        except BaseException:
            self._writer.close()
            raise

    survey: Survey
    memory: Memory

    @property
    def next_entry(self) -> int:
        """The number of the next entry."""
        return self._writer.next_entry

    def commit(self, event: Event) -> tuple[Effect, ...]:
        """Take one step: on the disk first, then in memory. Raises StorageError, nothing done."""
        memory, effects = step(self.survey, self.memory, event)
        started = time.perf_counter()
        try:
            same_place(self._folder.database, self._place)
            self._writer.commit(event, effects, memory.plot)
        except StorageError:
            self._doubt = True
            raise
        took_s = time.perf_counter() - started
        slow = saying("disk-slow", count=round(took_s))
        self.tell_disk(slow if took_s >= SLOW_DISK_S else None)
        noting = self.noting.answered_by(event, self.memory)
        self.memory = memory
        return self.noting.done(self.append, event.at, memory.who) if noting else effects

    def append(self, at: str, kind: str, body: dict[str, Any]) -> None:
        """Journal what is not an event of the session. Raises StorageError, nothing done."""
        self.mend()
        try:
            same_place(self._folder.database, self._place)
            self._writer.append(at, kind, body)
        except StorageError:
            self._doubt = True
            raise

    def seal(self, at: str, sign: Sign | None) -> Seal:
        """Seal the journal as it stands. Raises StorageError, or OperatorError for bad seals."""
        return seal(self._folder, self._writer, at, sign)

    def try_disk(self) -> None:
        """Whether the disk takes a journal again, told to whoever watches it."""
        try:
            self.mend()
        except StorageError as error:
            self.tell_disk(error.saying)
        else:
            self.tell_disk(None)

    def mend(self) -> None:
        """After a refusal, reopen the journal and take its content. Raises StorageError."""
        if not self._doubt:
            return
        self._writer.close()
        found = mended(self._folder, self._writer.head)
        self._writer, self._doubt = found.writer, False
        self._place = place_of(self._folder.database)
        self.survey, self.memory = found.survey, found.memory
        for event, effects in found.untold:
            self._believed(event, effects)

    def close(self) -> None:
        """Close the journal; a pending reading is pending again at the next start."""
        self._writer.close()
