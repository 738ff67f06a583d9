"""The usual cautions, and remembering that they were shown today."""

from __future__ import annotations

import contextlib
from datetime import date
from pathlib import Path

CAUTION = (
    "Watch your footing and the limbs overhead. Keep one ear free. "
    "Alone, tell someone where you are. Local rules come first."
)


def shown_today(survey: Path, today: date) -> bool:
    """Whether the cautions were shown for this survey today; from now on they were."""
    note = survey / ".cautioned"
    with contextlib.suppress(OSError):
        before = note.read_text(encoding="ascii") if note.is_file() else ""
        note.write_text(today.isoformat(), encoding="ascii")
        return before == today.isoformat()
    return False
