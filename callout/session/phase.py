"""Where a dialogue stands, as the session knows it and a screen is told. No rule belongs here."""

from __future__ import annotations

from enum import StrEnum


class Phase(StrEnum):
    """Each by the words that JSON lines give for it; a screen has its own, in ``wording``."""

    STARTING = "starting"
    """There is no session yet; a screen alone shows this."""
    CLOSED = "closed"
    IDLE = "idle"
    NAMED = "tree named"
    PENDING = "awaiting confirmation"
    MEMO = "listening for a note"
