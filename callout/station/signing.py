"""Seals a session at its end, signed where the survey has a key and it is at hand."""

from __future__ import annotations

from callout.core.errors import CalloutError
from callout.journal.folder import SurveyFolder
from callout.journal.signing import KIND, sign_for
from callout.station.station import Station


def seal_session(folder: SurveyFolder, station: Station) -> str:
    """Seal what was done; says in one line what came of it. Never raises for disk or key."""
    try:
        with folder.reading() as reader:
            sign, why_not = sign_for(reader.of_kind(KIND))
        made = station.seal(sign)
    except CalloutError as error:
        return f"not sealed: {error}"
    told = f"sealed: entry {made.entry} {made.hash}"
    return f"{told}; {why_not}" if why_not else told
