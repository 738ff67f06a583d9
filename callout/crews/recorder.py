"""The recorder of a journal, identified by the journal itself.

A recorder begins with its first opening: a survey folder that was copied to three machines before
anybody opened it makes three recorders. The SHA-256 of that first entry covers the time to the
millisecond, who opened it, where, and everything before; so it serves as the recorder's id, needs
no place of its own, and cannot be altered without breaking the chain. An office's journal of
rulings begins with an entry of its own kind, and gets its id in the same way.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from callout.core.events import Opened
from callout.journal.codec import KINDS
from callout.journal.reader import Entry

OFFICE = "office"
ID_LETTERS = 16
SHORT_LETTERS = 8


@dataclass(frozen=True)
class Recorder:
    """``id`` is the start of its first entry's SHA-256; ``who`` opened it, at ``at``."""

    id: str
    who: str
    at: str
    office: bool = False

    @property
    def short(self) -> str:
        """The id shortened for people."""
        return self.id[:SHORT_LETTERS]

    @property
    def told(self) -> str:
        """The recorder in words."""
        return f"{self.short} (office)" if self.office else f"{self.short} ({self.who})"


def recorder_of(entries: Iterable[Entry]) -> Recorder | None:
    """The recorder of a journal; None if nobody has opened it yet."""
    for entry in entries:
        if entry.kind == OFFICE or entry.kind in KINDS:
            who = entry.content.get("who", "")
            named = who if isinstance(who, str) else ""
            return Recorder(entry.hash[:ID_LETTERS], named, entry.at, entry.kind == OFFICE)
    return None


def people_of(entries: Iterable[Entry]) -> list[str]:
    """Everybody who worked, in the order of their first opening, as they wrote their names."""
    opened = (entry.event for entry in entries if entry.kind == "opened")
    return list(dict.fromkeys(event.who for event in opened if isinstance(event, Opened)))
