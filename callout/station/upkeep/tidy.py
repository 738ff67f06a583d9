"""Cleans up at a start after a crash: partly stored sound, partly written files, orders.

Called by whoever holds the journal, so nobody else can be writing these. Nothing that an entry
names is touched, except sound that an order of the journal removed.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import Any

from callout.core.counted import counted
from callout.core.errors import CalloutError
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.journal.removals import KIND as REMOVED
from callout.journal.removals import carry_out, ordered, removed_in
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.journal.session_sound import Encode, keep_spool, spools
from callout.survey.files import PART

Append = Callable[[str, dict[str, Any]], object]


def tidy(folder: SurveyFolder, append: Append, encode: Encode) -> list[str]:
    """Clean up what can be; returns what was done, or why something could not be."""
    told: list[str] = []
    for path in (folder.path / "audio").glob(f"{PART}*"):
        with suppress(OSError):  # harmless; the next start tries again
            path.unlink()
    with folder.reading() as reader:
        try:
            told += _recovered(folder, reader, append, encode)
            told += _removed(folder, reader)
        except CalloutError as error:
            told.append(str(error))
    return told


def _recovered(
    folder: SurveyFolder, reader: JournalReader, append: Append, encode: Encode
) -> list[str]:
    """The session's sound that was under way in a crash, up to its last second."""
    left = list(spools(folder.path / "audio"))
    if not left:
        return []
    known = {str(entry.content.get("audio")) for entry in reader.of_kind(SESSION_SOUND)}

    def record(ended: datetime, body: dict[str, Any]) -> None:
        if body["audio"] not in known:  # otherwise the crash came between its entry and this
            append(SESSION_SOUND, body)

    settings = folder.config().keeping
    kept = [keep_spool(path, folder.audio, settings, encode, record, True) for path in left]
    return [f"session sound of an earlier crash kept: {sum(kept)} segments"] if any(kept) else []


def _removed(folder: SurveyFolder, reader: JournalReader) -> list[str]:
    named = (digest for entry in reader.of_kind(REMOVED) for digest in ordered(entry))
    if not any(folder.audio.has(digest) for digest in named):
        return []
    gone = carry_out(folder.audio, removed_in(reader.entries()))
    return [f"{counted(gone, 'sound')} removed as ordered earlier"] if gone else []
