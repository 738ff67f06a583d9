"""What is wrong with a survey, and where it shows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, and the journal entry where it shows (0: the whole journal)."""

    entry: int
    what: str

    def __str__(self) -> str:
        return f"entry {self.entry}: {self.what}" if self.entry else self.what
