"""Seconds a tree, from its first word until the next may be called.

``python -m benchmarks.pace``. A synthetic measurer (espeak-ng, en-us, 165 words a minute) walks 40
trees of an invented plot, one in ten of them warned of. Her sound goes frame by frame through the
endpointer, what the session answers is put into words and spoken by the tool's own voice, and the
gate is closed while it sounds, all in the stream's own time and not in real time. Not by sound:
what was heard is taken to be what was said, a recogniser takes ``DECODE_S``, and people answer
``REACTS_S`` after the gate opened. Both are assumptions: the first is the default engine's 21 ms
(docs/hearing.md) with the way to its process and back, the second ours. A headset in quiet; no
loudspeaker, no wind.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Iterator
from datetime import date
from decimal import Decimal

import numpy as np

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Opened, Say
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, Plot, PlotSettings, Tree
from callout.core.units import Unit
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.sound.endpoint import Endpointer
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples
from callout.sound.voice import Tone, Voice, VoiceSettings, beep
from callout.station.speaking.spoken_echo import length_of, rate_of, tone_alone
from callout.station.speaking.spoken_turns import SpokenTurn
from callout.survey.config import ECHOES, Speaking
from callout.wording.language_files import english

AT = "2026-06-02T09:15:00+02:00"
DECODE_S, REACTS_S = 0.05, 0.4
TREES, EVERY = 40, 10
_WORDS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
_BEFORE_WORDS = {"saved": Tone.ACCEPT, "refused": Tone.REFUSE}


class Walk:
    """One walk in the stream's own time, ``now_s``."""

    def __init__(self, echo: str) -> None:
        self.speaking = Speaking(echo=echo)
        self.measurer = Voice(VoiceSettings("en-us", 165))
        self.voice = Voice(VoiceSettings("en-gb", rate_of(self.speaking)))
        self.endpointer, self.wording = Endpointer(), english()
        self.frames, self.entry = 0, 1
        self.noise = np.random.default_rng(3)
        past = (PastMeasurement(date(2021, 6, 2), Decimal(20), Unit.CENTIMETRE),)
        trees = {str(tag): Tree("K2", str(tag), "beech", past) for tag in range(21, 21 + TREES)}
        self.survey = Survey({"K2": Plot(PlotSettings("K2"), trees)}, {"K2": Rules()})
        self.memory, _ = step(self.survey, Memory(), Opened(1, AT, "K2", "R.V."))
        self.ends: list[float] = []
        self._quiet(2.0)

    @property
    def now_s(self) -> float:
        return self.frames * FRAME_SAMPLES / SAMPLE_RATE_HZ

    def trees(self) -> Iterator[tuple[float, bool]]:
        """The seconds of each tree, and whether it was warned of."""
        for number in range(TREES):
            tag, warned = str(21 + number), number % EVERY == EVERY - 1
            size = Decimal("18.4") if warned else Decimal("20.7")
            began = self.now_s
            self._say(f"tree {tag}, {_spelt(size)}", Meaning("reading", tag, size))
            assert self.memory.pending is not None
            word = "accept" if self.memory.pending.wants_accept else "confirm"
            self._say("accept" if word == "accept" else "yes", Meaning(word))
            assert self.memory.saved.get(("K2", tag, "")) is not None
            yield self.now_s - began, warned

    def _say(self, words: str, meaning: Meaning) -> None:
        spoken = self.measurer.say(words)
        spoken = spoken[: np.flatnonzero(np.abs(spoken) > 200)[-1] + 1]  # espeak-ng's own silence
        self._push(spoken)
        ended_s = self.now_s
        while not self._push(np.zeros(FRAME_SAMPLES, np.int16)):
            assert self.now_s < ended_s + 5
        self._quiet(DECODE_S)
        self.ends.append(self.now_s - ended_s)
        self.entry += 1
        about = self.memory.asking
        event = Heard(self.entry, AT, "voice", words, (meaning,), confidence=Decimal("0.99"),
                      about=about)  # fmt: skip
        self.memory, effects = step(self.survey, self.memory, event)
        self._answer(SpokenTurn(tuple(one for one in effects if isinstance(one, Say))))

    def _answer(self, turn: SpokenTurn) -> None:
        lasts_s = sum(len(self._sound(part, turn)) for part in turn.parts) / SAMPLE_RATE_HZ
        self.endpointer.mute(self.now_s + lasts_s, self.now_s)
        self._quiet(lasts_s + self.endpointer.settings.echo_tail_s + REACTS_S)

    def _sound(self, part: Say, turn: SpokenTurn) -> Samples:
        tone = tone_alone(part, turn)
        if self.speaking.echo == "tones" and tone is not Tone.WARN and part.tone != "refused":
            return beep(tone) if tone is not None else np.zeros(0, np.int16)
        words = self.voice.say(self.wording.spoken(*part.says, length=length_of(self.speaking)))
        before = _BEFORE_WORDS.get(part.tone)
        return np.concatenate([beep(before), words]) if before is not None else words

    def _quiet(self, seconds: float) -> None:
        self._push(np.zeros(round(seconds * SAMPLE_RATE_HZ), np.int16))

    def _push(self, samples: Samples) -> bool:
        """Whether the sound, in room noise of -70 dBFS, completed an utterance."""
        whole = False
        for start in range(0, len(samples), FRAME_SAMPLES):
            piece = samples[start : start + FRAME_SAMPLES]
            frame = self.noise.normal(scale=32768 * 10 ** (-70 / 20), size=FRAME_SAMPLES)
            frame[: len(piece)] += piece
            heard = np.clip(frame, -32768, 32767).astype(np.int16)
            whole |= bool(self.endpointer.push(Frame(heard, self.now_s)))
            self.frames += 1
        return whole


def _spelt(size: Decimal) -> str:
    whole, _, places = str(size).partition(".")
    return f"{whole} point {' '.join(_WORDS[int(digit)] for digit in places)}"


def main() -> None:
    """Print the seconds a tree by echo length."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--echo", choices=ECHOES, nargs="*", default=list(ECHOES))
    print("| echo | a tree, median | 90th percentile | warned, median | end of speech to echo |")
    print("|---|---|---|---|---|")
    for echo in parser.parse_args().echo:
        walk = Walk(echo)
        found = list(walk.trees())
        plain = sorted(seconds for seconds, warned in found if not warned)
        asked = [seconds for seconds, warned in found if warned]
        print(
            f"| {echo} | {statistics.median(plain):.1f} s | {plain[int(0.9 * len(plain))]:.1f} s "
            f"| {statistics.median(asked):.1f} s | {statistics.median(walk.ends):.2f} s |"
        )


if __name__ == "__main__":
    main()
