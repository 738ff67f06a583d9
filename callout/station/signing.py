"""Seals a session at its end, signed where the survey has a key and it is at hand."""

from __future__ import annotations

from callout.core.errors import CalloutError
from callout.journal.codec import KINDS
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.journal.seals import KIND as SEALED
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.journal.signing import KIND as SIGNER
from callout.journal.signing import sign_for
from callout.station.station import Station


def seal_session(folder: SurveyFolder, station: Station) -> tuple[str, str]:
    """Seal what was done since the last seal: the seal's line, and what is wrong, if anything.

    Never raises for disk or key: whoever leaves, leaves.
    """
    try:
        with folder.reading() as reader:
            if not _worked(reader):
                return "", ""
            sign, why_not = sign_for(reader.of_kind(SIGNER))
        made = station.seal(sign)
    except CalloutError as error:
        return "", f"not sealed: {error}"
    return made.line, why_not


def _worked(reader: JournalReader) -> bool:
    newest = {kind: reader.latest(kind) for kind in (SEALED, SESSION_SOUND, *KINDS)}
    sealed = newest.pop(SEALED)
    since = sealed.seq if sealed else 0
    return any(entry is not None and entry.seq > since for entry in newest.values())
