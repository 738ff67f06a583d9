"""Chooses the recogniser: by name, or the best that is at hand.

Engines are imported only when asked for, so that start-up stays quick.
"""

from __future__ import annotations

import os
from pathlib import Path

from callout.core.errors import OperatorError
from callout.grammar.language import Language
from callout.speech.engine import Engine

ENGINES = ("auto", "closed", "pocketsphinx", "vosk")


def choose_engine(name: str, language: Language, vosk_model: str = "", tuned: str = "") -> Engine:
    """The engine called ``name``; ``auto`` takes Vosk where a model is set or found.

    ``tuned`` is the file of a head tuned to whoever measures: the closed engine uses it, and
    ``auto`` then takes that engine, unless a Vosk model was set.
    Raises OperatorError for an unknown name or a model that is not there.
    """
    if name not in ENGINES:
        raise OperatorError(f"unknown engine {name!r}: use one of {', '.join(ENGINES)}")
    wants_closed = name == "closed" or (name == "auto" and not vosk_model)
    if tuned and wants_closed and language.code == "en":
        from callout.speech.closed.tuned import tuned_engine

        return tuned_engine(Path(tuned))
    if name == "vosk":
        return _vosk(vosk_model, language)
    if name == "auto" and (vosk_model or _found_model(language)):
        return _vosk(vosk_model, language)
    if language.code != "en":
        raise OperatorError(
            f"no embedded engine hears {language.code!r}: set a Vosk model in survey.toml"
        )
    if name == "closed":
        from callout.speech.closed.engine import ClosedEngine

        return ClosedEngine()
    from callout.speech.sphinx import SphinxEngine

    return SphinxEngine(language.pronunciations)


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
    """Where Vosk's own downloader puts models on this machine."""
    return Path.home() / ".cache" / "vosk"


def _found_model(language: Language) -> Path | None:
    """A model the user has set for every survey, or one Vosk's downloader left for the language."""
    named = os.environ.get("CALLOUT_VOSK_MODEL")
    if named:
        return Path(named).expanduser()
    code = {"en": "en-us"}.get(language.code, language.code)
    found = sorted(_model_folder().glob(f"vosk-model-small-{code}-*"))
    return next((path for path in reversed(found) if path.is_dir()), None)
