"""Makes a station from a survey folder and its settings, and what keeps its session's sound."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from callout.journal.config import Keeping, Listening
from callout.journal.folder import SurveyFolder
from callout.journal.session_sound import KIND, SessionSound
from callout.sound.coarser import pcm_within
from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.speech.engine import Samples
from callout.station.data import load_language
from callout.station.engines import choose_engine
from callout.station.scopes import survey_species
from callout.station.station import Station
from callout.station.tidy import tidy


def make_station(
    folder: SurveyFolder,
    encode: Callable[[Samples], bytes],
    engine: str | None = None,
    model: str | None = None,
    tell: Callable[[str], None] = lambda line: print(f"callout: {line}", file=sys.stderr),
) -> Station:
    """A station with the engine asked for, else the one in the settings.

    ``tell`` is told what was put right of what an earlier crash left.
    """
    config = folder.config()
    with folder.reading() as reader:
        species = survey_species(reader.plots().values())
    language = load_language(config.language, species)
    name = engine or config.listening.engine
    chosen = choose_engine(name, language, model or config.listening.vosk_model)
    station = Station(folder, language, chosen, encode, _now)
    try:
        told = tidy(folder, station.record, pcm_within)
    except BaseException:
        station.close()
        raise
    for line in told:
        tell(line)
    return station


def session_sound(
    folder: SurveyFolder, station: Station, keeping: Keeping, began: datetime
) -> SessionSound | None:
    """What keeps the whole session's sound, where the settings ask for it.

    ``began`` is when the stream's time is zero.
    """
    if not keeping.whole_session:
        return None
    return SessionSound(
        folder.path / "audio",
        began,
        keeping,
        pcm_within,
        record=lambda ended, body: station.record(KIND, body, ended),
        working=lambda: (station.memory.who, station.memory.plot),
        tell=station.say,
    )


def _now() -> datetime:
    return datetime.now().astimezone()


def endpointer_for(listening: Listening) -> Endpointer:
    """An endpointer with the survey's own times where it sets them."""
    given = {
        name: value
        for name in ("hang_over_s", "pre_roll_s")
        if (value := getattr(listening, name)) is not None
    }
    return Endpointer(replace(EndpointSettings(), **given))
