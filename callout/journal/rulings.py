"""Rulings: a reviewer's decisions about readings, as journal entries of their own.

The reading stays as it was saved; its newest ruling stands beside it. Values are exact decimals in
the reading's unit. Whether a ruling may be made is not decided here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from callout.core.errors import StorageError
from callout.journal.reader import Entry, JournalReader

KIND = "ruling"
WITHDRAWN = "withdrawn"  # takes a ruling back: as if nobody had ruled
VERDICTS = ("stands", "amended", "void", WITHDRAWN)


@dataclass(frozen=True)
class Ruling:
    """``reading`` is the entry ruled on; ``value`` is set where the verdict is ``amended``."""

    reading: int
    verdict: str
    value: Decimal | None
    unit: str
    reason: str
    who: str
    at: str = ""
    entry: int = 0

    @property
    def told(self) -> str:
        """The ruling in a few words, for a table cell."""
        said = f"amended to {self.value} {self.unit}" if self.value is not None else self.verdict
        return f"{said}: {self.reason} ({self.who})"


def ruling_body(ruling: Ruling) -> dict[str, Any]:
    """A ruling as a journal entry's body; time and number are stored beside it."""
    return {
        "reading": ruling.reading,
        "verdict": ruling.verdict,
        "value": None if ruling.value is None else str(ruling.value),
        "unit": ruling.unit,
        "reason": ruling.reason,
        "who": ruling.who,
    }


def ruling_from(entry: Entry) -> Ruling:
    """The ruling that an entry holds. Raises StorageError for any other entry."""
    content = entry.content
    try:
        value = content["value"]
        given = {**content, "value": None if value is None else Decimal(value)}
        return Ruling(**given, at=entry.at, entry=entry.seq)
    except (ArithmeticError, KeyError, TypeError) as error:
        raise StorageError(f"journal entry {entry.seq} is no ruling: {error!r}") from error


def rulings_in(entries: Iterable[Entry]) -> Mapping[int, Ruling]:
    """The newest ruling on each reading, by the reading's entry; none where it was withdrawn."""
    found = (ruling_from(entry) for entry in entries if entry.kind == KIND)
    newest = {ruling.reading: ruling for ruling in found}
    return {entry: one for entry, one in newest.items() if one.verdict != WITHDRAWN}


def rulings(reader: JournalReader) -> Mapping[int, Ruling]:
    """The newest ruling on each reading of a survey."""
    return rulings_in(reader.of_kind(KIND))
