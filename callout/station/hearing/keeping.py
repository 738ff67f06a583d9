"""The keeper of a whole session's sound, if a survey's settings ask for it."""

from __future__ import annotations

from callout.journal.folder import SurveyFolder
from callout.journal.session_sound import KIND, SessionSound
from callout.sound.coarser import pcm_within
from callout.station.station import Station
from callout.survey.config import Keeping


def session_sound(folder: SurveyFolder, station: Station, keeping: Keeping) -> SessionSound | None:
    """For ``Listening``'s ``keep``; None if only the callouts are kept."""
    if not keeping.whole_session:
        return None
    return SessionSound(
        folder.path / "audio",
        keeping,
        pcm_within,
        record=lambda ended, body: station.record(KIND, body, ended),
        working=lambda: (station.memory.who, station.memory.plot),
        tell=station.say,
    )
