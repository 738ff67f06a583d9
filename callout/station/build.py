"""Makes a station from a survey folder and its settings, and the keeper of session sound."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace

from callout.core.errors import DeviceError
from callout.core.saying import Saying
from callout.journal.folder import SurveyFolder
from callout.journal.writer import refuse_in_use
from callout.sound.coarser import pcm_within
from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.own.own_voice import OwnVoice, canceller
from callout.speech.engine import Samples
from callout.station.data import load_language
from callout.station.hearing.apart import ApartEngine, EngineOrder
from callout.station.hearing.launching import Child
from callout.station.scopes import plot_named, survey_species
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.kept_state import plots_now
from callout.station.upkeep.tidy import tidy
from callout.survey.config import Listening
from callout.tuning.tuning_kept import usable
from callout.wording.language_files import load_wording


def make_station(
    folder: SurveyFolder,
    encode: Callable[[Samples], bytes],
    engine: str | None = None,
    model: str | None = None,
    tell: Callable[[str], None] = lambda line: print(f"callout: {line}", file=sys.stderr),
    clock: Clock | None = None,
    or_without: Callable[[Saying], None] | None = None,
    who: str = "",
    child: Child | None = None,
    hears: bool = True,
    plot: str | None = None,
) -> Station:
    """A station with the engine asked for, else the one in the settings, in its own process.

    With ``or_without`` a broken engine is reported there, and the station has none; an unknown one
    (OperatorError) is refused either way. ``who`` measures: a head tuned to them is used if there
    is one. ``tell`` is called with that, and with what was repaired after a crash. ``child`` is the
    recogniser's process, if launched before.
    Without ``hears`` the station has no engine. A ``plot`` that there is not is refused at once.
    """
    refuse_in_use(folder.path)  # before a recogniser is started, which a small board does for long
    config = folder.config()
    with folder.reading() as reader:
        plots = plots_now(reader)
    plot_named(plots, plot)
    language = load_language(config.language, survey_species(plots.values()), tuple(plots))
    wording = load_wording(config.language)
    name = engine or config.listening.engine
    tuned, told = usable(folder, who)
    order = EngineOrder(name, language, model or config.listening.vosk_model, tuned)
    chosen: ApartEngine | None = None
    try:
        chosen = ApartEngine(order, child=child) if hears else None
    except DeviceError as error:
        if or_without is None:
            raise
        or_without(error.saying)
    watched = clock or Clock()
    try:
        station = Station(folder, language, chosen, encode, watched.now, wording)
    except BaseException:
        if chosen is not None:
            chosen.close()
        raise
    try:
        put_right = tidy(folder, station.record, pcm_within)
    except BaseException:
        station.close()
        raise
    if told and hears and (not tuned or (chosen is not None and chosen.name == "closed")):
        tell(told)
    for line in put_right:
        tell(line)
    watched.on_move(station.clock_moved)
    return station


def endpointer_for(listening: Listening) -> Endpointer:
    """An endpointer with the survey's own times and level, if it sets them."""
    given = {
        name: value
        for name in ("hang_over_s", "pre_roll_s", "gate_least_dbfs")
        if (value := getattr(listening, name)) is not None
    }
    return Endpointer(replace(EndpointSettings(), **given))


def own_voice(duplex: str) -> tuple[OwnVoice | None, Saying | None]:
    """What lets one be heard while the voice speaks, as ``duplex`` says; and why not, if so.

    None for half duplex, which is also what is left where there is no canceller.
    """
    if duplex == "half":
        return None, None
    try:
        return OwnVoice(canceller() if duplex == "loudspeaker" else None), None
    except DeviceError as error:
        return None, error.saying
