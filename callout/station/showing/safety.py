"""The usual cautions, what is kept of people's voices, and whether both were shown today."""

from __future__ import annotations

import contextlib
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from callout.core.saying import Saying, saying

if TYPE_CHECKING:
    from callout.survey.config import Keeping

CAUTION = (
    saying("caution-footing"),
    saying("caution-ear"),
    saying("caution-alone"),
    saying("caution-rules"),
)


def kept_told(keeping: Keeping) -> Saying:
    """What is kept of voices, for those who are heard: speech is personal data."""
    return saying("all-voices-kept") if keeping.whole_session else saying("voices-kept")


def shown_today(survey: Path, today: date) -> bool:
    """Whether the cautions were shown for this survey today; marks them as shown."""
    note = survey / ".cautioned"
    with contextlib.suppress(OSError):
        before = note.read_text(encoding="ascii") if note.is_file() else ""
        note.write_text(today.isoformat(), encoding="ascii")
        return before == today.isoformat()
    return False
