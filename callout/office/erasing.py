"""Which sounds an order removes: a person's, those of some hours, or old sound of whole sessions.

Chooses, then orders and deletes: the entry comes first, so that a crash between the two leaves a
sound too many, never one missing without a reason. Readings and words stay.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from callout.core.errors import OperatorError
from callout.core.events import Heard, Opened
from callout.core.people import plain_name
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.removals import (
    KIND,
    carry_out,
    named_in,
    removal_body,
    removed_in,
    sound_of,
    unnamed,
)
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.journal.writer import JournalWriter


@dataclass(frozen=True)
class Kept:
    """One sound that an entry names: its time, and who worked then."""

    entry: int
    digest: str
    began: datetime
    ended: datetime
    who: str
    session: bool


@dataclass(frozen=True)
class Which:
    """Which sounds to remove: every set condition must fit; ``unnamed``: those no entry names."""

    person: str | None = None
    begin: datetime | None = None
    until: datetime | None = None
    session_only: bool = False
    unnamed: bool = False

    def has(self, sound: Kept) -> bool:
        """Whether the sound is one of them; a part within the hours is enough."""
        return all(
            (
                self.person is None or plain_name(self.person) == plain_name(sound.who),
                self.begin is None or sound.ended > self.begin,
                self.until is None or sound.began < self.until,
                sound.session or not self.session_only,
            )
        )


def kept_sounds(entries: Sequence[Entry]) -> Iterator[Kept]:
    """Every sound that the journal names, in its order."""
    who = ""
    for entry in entries:
        event = entry.event
        if isinstance(event, Opened):
            who = event.who
        digest = sound_of(entry)
        if digest is None:
            continue
        if entry.kind == SESSION_SOUND:
            content = entry.content
            began = datetime.fromisoformat(content["began"])
            ended = began + timedelta(seconds=float(Decimal(content["seconds"])))
            yield Kept(entry.seq, digest, began, ended, content["who"], True)
        elif isinstance(event, Heard):
            at = datetime.fromisoformat(event.at)
            yield Kept(entry.seq, digest, at, at, who, False)


def to_erase(folder: SurveyFolder, entries: Sequence[Entry], which: Which) -> list[str]:
    """The hashes for an order, each once; those already removed are left out."""
    if which.unnamed:
        return unnamed(folder.path / "audio", named_in(entries))
    gone = removed_in(entries)
    wanted = dict.fromkeys(item.digest for item in kept_sounds(entries) if which.has(item))
    return [digest for digest in wanted if digest not in gone]


def erase(
    folder: SurveyFolder, writer: JournalWriter, which: Which, reason: str, who: str, at: str
) -> tuple[int, int]:
    """Order and delete; returns the order's entry and how many files were deleted.

    Raises OperatorError if there is nothing to remove, StorageError if a file cannot be deleted.
    """
    with folder.reading() as reader:
        wanted = to_erase(folder, list(reader.entries()), which)
    if not wanted:
        raise OperatorError("there is no such sound, or all of it was removed before")
    order = writer.append(at, KIND, removal_body(wanted, reason, who))
    with folder.reading() as reader:
        removed = removed_in(reader.entries())
    return order, carry_out(folder.audio, removed)
