"""The usual cautions, what is kept of people's voices, and that both were shown today."""

from __future__ import annotations

import contextlib
from datetime import date
from pathlib import Path

from callout.journal.config import Keeping

CAUTION = (
    "Watch your footing and the limbs overhead. Keep one ear free. "
    "Alone, tell someone where you are. Local rules come first."
)

KEPT = "What is said to it is kept as sound, with your name. 'callout erase' removes it."
ALL_KEPT = "ALL sound is kept, others' voices too. Ask those in hearing first, and tell who comes."


def kept_told(keeping: Keeping) -> str:
    """What is kept of voices, for those who are heard: speech is personal data."""
    return ALL_KEPT if keeping.whole_session else KEPT


def shown_today(survey: Path, today: date) -> bool:
    """Whether the cautions were shown for this survey today; from now on they were."""
    note = survey / ".cautioned"
    with contextlib.suppress(OSError):
        before = note.read_text(encoding="ascii") if note.is_file() else ""
        note.write_text(today.isoformat(), encoding="ascii")
        return before == today.isoformat()
    return False
