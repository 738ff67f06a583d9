"""Makes a station from a survey folder and its settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from callout.journal.config import Listening
from callout.journal.folder import SurveyFolder
from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.speech.engine import Samples
from callout.station.data import load_language
from callout.station.engines import choose_engine
from callout.station.scopes import survey_species
from callout.station.station import Station


def make_station(
    folder: SurveyFolder,
    encode: Callable[[Samples], bytes],
    engine: str | None = None,
    model: str | None = None,
) -> Station:
    """A station with the engine asked for, else the one in the settings."""
    config = folder.config()
    with folder.reading() as reader:
        species = survey_species(reader.plots().values())
    language = load_language(config.language, species)
    name = engine or config.listening.engine
    chosen = choose_engine(name, language, model or config.listening.vosk_model)
    return Station(folder, language, chosen, encode, _now)


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
