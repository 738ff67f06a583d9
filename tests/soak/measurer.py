"""The simulated measurer of the soak: speaks, hears the echo, and confirms only what was echoed.

Keeps a ledger of what it was told is saved after it had confirmed exactly that; the journal is held
against it in the end. Knows nothing of the station but sounds in and words out. All invented.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import in_english
import numpy as np

from callout.core.events import Say
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Samples
from callout.sound.voice import Voice, VoiceSettings
from callout.station.done import Done
from callout.station.station import Station

VOICES = ("en-gb", "en-us", "en-gb-scotland")
ONES = [
    "oh",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
TENS = ["x", "x", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
PAUSE_S = 1.3
QUESTIONS = ("Confirm?", "Accept?")
NOISE_DBFS = -62.0
MOST_TRIES = 3


@dataclass(frozen=True)
class Unplug:
    """The microphone fails here, and cannot be had for so many tries; then there is ``name``."""

    tries: int = 0
    name: str = "headset"


@dataclass(frozen=True)
class Changed:
    """The microphone is another from here on, as the sound system tells."""

    tries: int = 0


@dataclass(frozen=True)
class Gap:
    """Sound that never came, in seconds of the stream."""

    seconds: float


Item = Samples | Unplug | Changed | Gap
Script = Iterator[Item]


def number(value: int) -> str:
    """A whole number under a hundred in words."""
    if value < len(ONES):
        return ONES[value]
    tens, ones = divmod(value, 10)
    return TENS[tens] + (f" {ONES[ones]}" if ones else "")


@dataclass
class Ledger:
    """What was confirmed and told as saved, in order; and what was told though never confirmed."""

    saved: list[tuple[str, str]] = field(default_factory=list)
    undone: int = 0
    unasked: list[str] = field(default_factory=list)


class Measurer:
    """Speaks one callout after another."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self._rng = np.random.default_rng(seed)
        self._voices = [Voice(VoiceSettings(name, 160)) for name in VOICES]
        self._said: list[Say] = []
        self.confirming: tuple[str, str] | None = None
        self.ledger = Ledger()
        self.typed = self.spoken = 0

    # ---- hearing ----

    def hear(self, done: Done) -> None:
        """What the station says; called as its watcher."""
        for effect in done.effects:
            if isinstance(effect, Say):
                self._said.append(effect)
                self._take(in_english.told(effect))

    def _take(self, text: str) -> None:
        told = re.match(r"Saved (\S+), (\d+\.\d)", text)
        if told is None:
            self.ledger.undone += text.startswith("Undone: ")
            return
        what = (told[1], told[2])
        if what != self.confirming:
            self.ledger.unasked.append(text)
        self.ledger.saved.append(what)
        self.confirming = None

    def heard(self, what: str) -> bool:
        """Whether anything said since the last callout holds ``what``."""
        return any(what in in_english.told(item) for item in self._said)

    def asked(self, tag: str, value: str) -> bool:
        """Whether the last question was about exactly this reading."""
        asked = [
            in_english.told(item)
            for item in self._said
            if in_english.told(item).endswith(QUESTIONS)
        ]
        echo = rf"(^|\s){tag}(,| again:) {re.escape(value)}\b"
        return bool(asked) and re.search(echo, asked[-1]) is not None

    def forget(self) -> None:
        """A new exchange begins."""
        self._said.clear()

    # ---- speaking ----

    def quiet(self, seconds: float, dbfs: float = NOISE_DBFS) -> Samples:
        """The wood."""
        size = round(seconds * SAMPLE_RATE_HZ / FRAME_SAMPLES) * FRAME_SAMPLES
        floats = self._rng.standard_normal(size) * 32768 * 10 ** (dbfs / 20)
        return np.rint(floats).clip(-32768, 32767).astype(np.int16)

    def speech(self, text: str, gain: float = 0.5, noise_dbfs: float = NOISE_DBFS) -> Samples:
        """A callout and the pause after it, in the wood's noise."""
        words = self.chance.choice(self._voices).say(text).astype(np.float64)
        words *= gain * 32768 / max(1.0, np.abs(words).max())
        lead, tail = round(0.4 * SAMPLE_RATE_HZ), round(PAUSE_S * SAMPLE_RATE_HZ)
        size = -(-(lead + words.size + tail) // FRAME_SAMPLES) * FRAME_SAMPLES
        floats = self._rng.standard_normal(size) * 32768 * 10 ** (noise_dbfs / 20)
        floats[lead : lead + words.size] += words
        return np.rint(floats).clip(-32768, 32767).astype(np.int16)

    def phrase(self, tag: str, value: str) -> str:
        """The reading in words."""
        whole, tenth = value.split(".")
        said = f"{number(int(whole))} point {ONES[int(tenth)]}"
        return f"tree {number(int(tag))}, diameter {said}"

    def confirm(self, station: Station, tag: str, value: str, aloud: bool) -> Script:
        """Say yes to what was echoed."""
        self.confirming = (tag, value)
        # A warning takes a word of its own.
        warned = any(in_english.told(item).endswith("Accept?") for item in self._said)
        word = "accept" if warned else "confirm"
        self.forget()
        if aloud:
            yield self.speech(word)
        else:
            station.press(word)

    def type(self, station: Station, tag: str, value: str) -> None:
        """By keyboard, where the voice will not do."""
        self.typed += 1
        self.forget()
        station.type(f"{tag} {value}")
