"""A measurer made of a synthetic voice and a simulated tape, who walks an invented site.

What is said next depends on what was echoed, as with a person: a wrong echo is refused and the tree
called again, digit by digit; what is never heard is typed in the end. The measurer listens well:
a wrong echo is always noticed. Readings, faults and voice are invented.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache

import in_english
import numpy as np
import soundfile
import soxr
from invented_site import Standing
from num2words import num2words
from planted import Fault
from simulated_tape import Plugged
from waiting import wait_for

from callout.core.events import Say
from callout.session.state import left_to_do
from callout.sound.frames import SAMPLE_RATE_HZ, Frame, Samples, frames_of
from callout.station.done import Done
from callout.station.station import Station

PAUSE_S = 1.3
NOISE_DBFS = -62.0
TRIES = 4
_VOICES = {"R.V.": "rms", "M.O.": "slt"}
_DIGITS = ("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@dataclass
class Told:
    """What came of the day."""

    caught: Counter[tuple[str, str]] = field(default_factory=Counter)
    missed: list[Fault] = field(default_factory=list)
    unsayable: Counter[str] = field(default_factory=Counter)
    good: int = 0
    questioned: int = 0
    first_time: int = 0
    wrong_echoes: int = 0
    unheard: int = 0
    typed: list[str] = field(default_factory=list)
    pressed: int = 0
    utterances: int = 0
    refusals: list[str] = field(default_factory=list)
    gone_back: list[str] = field(default_factory=list)


@lru_cache(maxsize=4000)
def spoken(words: str, voice: str) -> Samples:
    """The words at 16 kHz, peak at half scale, by the flite command."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        subprocess.run(["flite", "-voice", voice, "-t", words, "-o", file.name], check=True)
        samples, rate = soundfile.read(file.name, dtype="float32")
    sound = soxr.resample(samples, rate, SAMPLE_RATE_HZ)
    made: Samples = (sound / np.abs(sound).max() * 0.5 * 32767).astype(np.int16)
    return made


def numeral(figures: str) -> str:
    """As it is read: 83 is eighty three, 24.6 twenty four point six, 104 one hundred four."""
    whole, _, part = figures.partition(".")
    words = num2words(int(whole)).replace("-", " ").replace(" and ", " ")
    return f"{words} point {spelt(part)}" if part else words


def spelt(figures: str) -> str:
    """Digit by digit."""
    return " ".join("point" if mark == "." else _DIGITS[int(mark)] for mark in figures)


class Measurer:
    """Walks ``site`` in its order; ``faults`` by place are called before the truth."""

    def __init__(
        self,
        station: Station,
        site: list[Standing],
        faults: dict[int, Fault],
        tape: Plugged | None = None,
        taped_plot: str = "",
        anchor: Callable[[datetime], None] = lambda began: None,
    ) -> None:
        self.station, self.site, self.faults = station, site, faults
        self.tape, self.taped_plot = tape, taped_plot
        self.told, self._anchor = Told(), anchor
        self._echo, self._now_s, self._voice = "", 0.0, "rms"
        self._noise = np.random.default_rng(2026)
        station.watch(self._hear)

    def _hear(self, done: Done) -> None:
        """What is called back, all of one answer together."""
        said = [in_english.told(effect) for effect in done.effects if isinstance(effect, Say)]
        self._echo = " ".join(said) if said else self._echo

    # ---- the day, as sound ----

    def frames(self) -> Iterator[Frame]:
        """Every plot in order, one frame at a time; each answer is there when the next is due."""
        plots = list(dict.fromkeys(item.tree.plot for item in self.site))
        for at, plot in enumerate(plots):
            who = ("R.V.", "M.O.")[at % 2]
            self._voice = _VOICES[who]
            self.station.open(plot, who)
            yield from self._say("plot complete")
            self.told.refusals.append(self._echo)
            for place, item in enumerate(self.site):
                if item.tree.plot == plot:
                    if place in self.faults:
                        yield from self._call_badly(self.faults[place])
                    yield from self._call(item)
            yield from self._go_back(plot)
            yield from self._until("plot complete", lambda: "omplete" in self._echo
                                   or "accounted for" in self._echo)  # fmt: skip
            self.told.refusals.append(self._echo)

    def _go_back(self, plot: str) -> Iterator[Frame]:
        """Trees of the walk that are left at its end, as "what's left" tells, are called again."""
        left = left_to_do(self.station.memory, self.station.plot)
        for item in self.site:
            if item.tree.plot == plot and item.tree.tag in left:
                self.told.gone_back.append(f"{plot} {item.tree.tag}")
                yield from self._call(item)

    def _say(self, words: str) -> Iterator[Frame]:
        self.told.utterances += 1
        sound = spoken(words, self._voice)
        pause = np.zeros(int(PAUSE_S * SAMPLE_RATE_HZ), dtype=np.int16)
        whole = np.concatenate([sound, pause]).astype(np.float32)
        whole += self._noise.normal(0, 32768 * 10 ** (NOISE_DBFS / 20), len(whole))
        self._echo = ""
        for frame in frames_of(np.clip(whole, -32768, 32767).astype(np.int16), self._now_s):
            self._now_s = frame.end_s
            yield frame

    def _until(self, words: str, done: object) -> Iterator[Frame]:
        """Say it until it was understood; in the end, type it."""
        for _ in range(TRIES - 1):
            yield from self._say(words)
            if done():  # type: ignore[operator]
                return
        self.told.typed.append(words)
        self.station.type(words)

    # ---- one tree ----

    def _at_clock(self, behind_s: float) -> None:
        """The stream outruns the clock by which presses are timed: bring it back."""
        self._anchor(datetime.now().astimezone() - timedelta(seconds=self._now_s + behind_s))

    def _call(self, item: Standing) -> Iterator[Frame]:
        self._at_clock(10.0)
        tag, value = item.tree.tag, item.today
        taped = self.tape is not None and item.tree.plot == self.taped_plot and value is not None
        size = "dead standing" if value is None else str(value)
        yield from (self._tape(tag, size) if taped else self._voiced(tag, size))
        if value is not None:
            self.told.good += 1
            self.told.questioned += self._echo.endswith("Accept?")
        yield from self._save(tag)

    def _voiced(self, tag: str, size: str) -> Iterator[Frame]:
        for attempt in range(TRIES):
            yield from self._say(_callout(tag, size, attempt))
            if self._is_right(tag, size):
                self.told.first_time += attempt == 0
                return
            yield from self._refuse()
        self.told.typed.append(f"{tag} {size}")
        self.station.type(f"{tag} {size}")
        assert self._is_right(tag, size), self._echo

    def _tape(self, tag: str, size: str) -> Iterator[Frame]:
        """The tag by voice, the size by a press of the tape."""
        assert self.tape is not None
        named = f"Tree {tag}"
        for attempt in range(TRIES):
            yield from self._say(f"tree {numeral(tag) if attempt == 0 else spelt(tag)}")
            if self._echo.split(",")[0] == named or self._echo.startswith(f"{named}."):
                self.told.first_time += attempt == 0
                break
            yield from self._refuse()
        else:
            self.told.typed.append(f"tree {tag}")
            self.station.type(f"tree {tag}")
        self.tape.send(f"{size} cm\r\n".encode())
        self.told.pressed += 1
        wait_for(lambda: self._is_right(tag, size), every_s=0.002)
        self._at_clock(0.0)

    def _call_badly(self, fault: Fault) -> Iterator[Frame]:
        """Call the fault until it is echoed as called; was it told before anything was saved?"""
        tag, size = fault.typed.split()
        for attempt in range(TRIES):
            yield from self._say(_callout(tag, size, attempt))
            if self._is_right(tag, size):
                self._judge(fault)
                return (yield from self._until("scratch that", self._nothing_waits))
            yield from self._refuse()
        self.told.unsayable[fault.kind] += 1

    def _judge(self, fault: Fault) -> None:
        pending = self.station.memory.pending
        assert pending is not None
        names = [warned.check for warned in pending.warned]
        if self._echo.endswith("Accept?"):
            name = fault.kind if fault.kind in names else names[0]
            self.told.caught[fault.kind, name] += 1
        else:
            self.told.missed.append(fault)

    def _save(self, tag: str) -> Iterator[Frame]:
        word = "accept" if self._echo.endswith("Accept?") else "confirm"
        yield from self._until(word, lambda: f"Saved {tag}, " in self._echo)

    def _refuse(self) -> Iterator[Frame]:
        """What was echoed wrongly is refused aloud; what was not heard, or asked back, is not."""
        if not self._echo:
            self.told.unheard += 1
        elif self._nothing_waits():
            self.told.wrong_echoes += 1
        else:
            self.told.wrong_echoes += 1
            yield from self._until("scratch that", self._nothing_waits)

    def _nothing_waits(self) -> bool:
        return self.station.memory.pending is None

    def _is_right(self, tag: str, size: str) -> bool:
        """Whether the echo calls back that tree and that size, to the last figure."""
        parts = self._echo.split(", ")
        heard = [part.split(".  ")[0].rstrip(".") for part in parts[:2]]
        asked = self._echo.endswith(("Confirm?", "Accept?"))
        second = parts[1].split(" ")[0].rstrip(".") if len(parts) > 1 else ""
        is_size = second == size or (size == "dead standing" and parts[1:] and
                                     parts[1].startswith("dead standing"))  # fmt: skip
        return asked and heard[0] == tag and bool(is_size)


def _callout(tag: str, size: str, attempt: int) -> str:
    """By numerals first, then digit by digit, as people do who were not understood."""
    say = numeral if attempt == 0 else spelt
    if not size[0].isdigit():
        return f"tree {say(tag)}, {size}"
    return f"tree {say(tag)}, diameter {say(size)}"
