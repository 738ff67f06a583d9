"""Seconds a tree, from its first word until the next may be called.

``python -m benchmarks.pace [--echo brief] [--device headset] [--noise wind]``. A synthetic measurer
(espeak-ng, en-us, 165 words a minute) walks 40 trees of an invented plot, one in ten of them warned
of. Her sound goes frame by frame through the endpointer to the default engine, what that hears to
the session, and what the session answers is put into words and spoken by the tool's own voice, all
in the stream's own time and not in real time. What is not understood she says again, what is told
back wrongly she refuses. Two figures are given, not measured: the engine takes ``DECODE_S`` (21 ms
by docs/hearing.md, and the way to its process and back), and people answer ``REACTS_S`` after they
may. ``half``: the gate is closed while the voice speaks. ``headset``: hearing goes on, and she
answers once the number was spoken. ``loudspeaker``: as that, while the voice comes back at -20 dB,
0.12 s late, and is taken out. No sound card and no people.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Iterator
from datetime import date
from decimal import Decimal

import numpy as np

from benchmarks.hearing.sets import coloured
from callout.core.checking.checks import Rules
from callout.core.events import Heard, Opened, Say
from callout.core.model import PastMeasurement, Plot, PlotSettings, Tree
from callout.core.units import Unit
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.sound.endpoint import Endpointer
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples, Utterance
from callout.sound.own.own_voice import OwnVoice, canceller
from callout.sound.voice import Tone, Voice, VoiceSettings, beep, without_silence
from callout.speech.closed.closed_engine import ClosedEngine
from callout.station.data import load_language
from callout.station.deciding import AsHeard, over_voice, sure, whole
from callout.station.scopes import scope_of
from callout.station.speaking.how_much import length_of, rate_of
from callout.station.speaking.spoken_echo import tone_alone
from callout.station.speaking.spoken_turns import SpokenTurn
from callout.survey.config import ECHOES, Speaking
from callout.wording.language_files import english

AT = "2026-06-02T09:15:00+02:00"
DECODE_S, REACTS_S = 0.05, 0.4
TREES, EVERY, MOST_TRIES = 40, 10, 4
DEVICES, NOISES = ("half", "headset", "loudspeaker"), ("quiet", "wind")
BACK_DB, BACK_S, HER_DBFS = -20.0, 0.12, -20.0
_WORDS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
_BEFORE_WORDS = {"saved": Tone.ACCEPT, "refused": Tone.REFUSE}
_QUESTIONS = ("confirm-asked", "accept-asked")


class Walk:
    """One walk in the stream's own time, ``now_s``."""

    def __init__(self, echo: str, device: str, noise: str, engine: ClosedEngine) -> None:
        self.speaking, self.device, self.engine = Speaking(echo=echo), device, engine
        self.measurer = Voice(VoiceSettings("en-us", 165))
        self.voice = Voice(VoiceSettings("en-gb", rate_of(self.speaking)))
        self.endpointer, self.wording = Endpointer(), english()
        self.own = OwnVoice(canceller() if device == "loudspeaker" else None)
        self.noise = _noise(noise)
        self.frames, self.entry, self.again, self.wrong = 0, 1, 0, 0
        self.played: list[tuple[int, Samples]] = []
        past = (PastMeasurement(date(2021, 6, 2), Decimal(20), Unit.CENTIMETRE),)
        trees = {str(tag): Tree("K2", str(tag), "beech", past) for tag in range(21, 21 + TREES)}
        self.plot = Plot(PlotSettings("K2"), trees)
        self.survey = Survey({"K2": self.plot}, {"K2": Rules()})
        self.scope = scope_of(self.plot)
        self.spoken = load_language("en", ("beech",)).spoken_in(self.scope)
        engine.prepare(self.spoken)
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
            self._until_echoed(tag, size)
            for _ in range(MOST_TRIES):
                pending = self.memory.pending
                if pending is None:
                    break
                self._say("accept" if pending.wants_accept else "yes")
            saved = self.memory.saved.get(("K2", tag, ""))
            self.wrong += saved is not None and saved.value != size
            yield self.now_s - began, warned

    def _until_echoed(self, tag: str, size: Decimal) -> None:
        for _ in range(MOST_TRIES):
            self._say(f"tree {tag}, {_spelt(size)}")
            pending = self.memory.pending
            if pending is not None and (pending.draft.tag, pending.draft.value) == (tag, size):
                return
            self.again += 1
            if pending is not None:
                self._say("no")

    def _say(self, words: str) -> None:
        spoken = self.measurer.say(words)
        spoken = spoken[: np.flatnonzero(np.abs(spoken) > 200)[-1] + 1]  # espeak-ng's own silence
        spoken = (spoken * (10 ** (HER_DBFS / 20) * 32768 / _loud(spoken))).astype(np.int16)
        heard = self._push(spoken)
        ended_s = self.now_s
        while heard is None and self.now_s < ended_s + 2.0:
            heard = self._push(np.zeros(FRAME_SAMPLES, np.int16))
        self._quiet(DECODE_S)
        if heard is None:
            return self._quiet(REACTS_S)  # nothing was made of it
        self.ends.append(self.now_s - ended_s)
        self.memory, effects = step(self.survey, self.memory, heard)
        self._answer(SpokenTurn(tuple(one for one in effects if isinstance(one, Say))))
        return None

    def _heard(self, utterance: Utterance, if_whole: bool = False) -> Heard | None:
        """What the station would take of it."""
        best = next(iter(self.engine.hear(utterance.samples)), None)
        if best is None or (
            if_whole and not whole(best, self.spoken, self.scope, self.plot, self.memory)
        ):
            return None
        about = self.memory.asking
        parsed = sure(best, self.scope, waits=about > 0)
        began_s = utterance.start_s + self.endpointer.settings.pre_roll_s
        over = self.device != "half" and self.own.sounded(began_s, utterance.end_s)
        how = AsHeard(over=over)
        if over and over_voice(parsed, best, self.scope, self.memory, about, how) is None:
            return None
        self.entry += 1
        return Heard(
            self.entry,
            AT,
            "voice",
            best.words,
            parsed.meanings,
            parsed.problem,
            confidence=Decimal(str(best.confidence)),
            about=about,
        )

    def _answer(self, turn: SpokenTurn) -> None:
        """Until she may speak again, and does."""
        asks = any(part.tone == "ask" for part in turn.parts)
        sounds = [self._sound(part, turn) for part in turn.parts]
        lasts_s = sum(len(sound) for pair in sounds for sound in pair) / SAMPLE_RATE_HZ
        self._play(np.concatenate([np.zeros(0, np.int16), *(one for two in sounds for one in two)]))
        if self.device == "half":
            self.endpointer.mute(self.now_s + lasts_s, self.now_s)
            return self._quiet(lasts_s + self.endpointer.settings.echo_tail_s + REACTS_S)
        question_s = len(sounds[-1][1]) / SAMPLE_RATE_HZ if asks and sounds else 0.0
        return self._quiet(lasts_s - question_s + REACTS_S)

    def _sound(self, part: Say, turn: SpokenTurn) -> tuple[Samples, Samples]:
        """What is told, and the bare question after it."""
        none, tone = np.zeros(0, np.int16), tone_alone(part, turn)
        if self.speaking.echo == "tones" and tone is not Tone.WARN and part.tone != "refused":
            return (beep(tone) if tone is not None else none), none
        bare = len(part.says) > 1 and part.says[-1].key in _QUESTIONS
        told, asked = (part.says[:-1], part.says[-1:]) if bare else (part.says, ())
        words = [self._words(told), self._words(asked) if asked else none]
        before = _BEFORE_WORDS.get(part.tone)
        return (np.concatenate([beep(before), words[0]]) if before else words[0]), words[1]

    def _words(self, says: tuple) -> Samples:  # type: ignore[type-arg]
        text = self.wording.spoken(*says, length=length_of(self.speaking))
        return without_silence(self.voice.say(text)) if text else np.zeros(0, np.int16)

    def _play(self, samples: Samples) -> None:
        self.own.plays(samples, self.now_s)
        self.played.append((self.frames * FRAME_SAMPLES, samples))

    def _quiet(self, seconds: float) -> None:
        self._push(np.zeros(round(seconds * SAMPLE_RATE_HZ), np.int16))

    def _push(self, samples: Samples) -> Heard | None:
        """What was heard of the sound and what else the microphone takes, if it was a callout."""
        heard = None
        for start in range(0, len(samples), FRAME_SAMPLES):
            piece, at = samples[start : start + FRAME_SAMPLES], self.frames * FRAME_SAMPLES
            low = at % (len(self.noise) - FRAME_SAMPLES)
            taken = self.noise[low : low + FRAME_SAMPLES] + self._back(at)
            taken[: len(piece)] += piece
            frame = Frame(np.clip(taken, -32768, 32767).astype(np.int16), at / SAMPLE_RATE_HZ)
            ended = self.endpointer.push(self.own.take(frame))
            self.frames += 1
            for utterance in ended:
                heard = heard or self._heard(utterance)
            so_far = self.endpointer.so_far()
            if so_far is not None and (found := self._heard(so_far, True)) is not None:
                self.endpointer.end()
                heard = heard or found
        return heard

    def _back(self, at: int) -> np.ndarray:
        """What comes back of our own voice in the frame from sample ``at`` on."""
        found = np.zeros(FRAME_SAMPLES)
        if self.device == "headset":
            return found
        for began, sound in self.played[-3:]:
            first = at - began - round(BACK_S * SAMPLE_RATE_HZ)
            piece = sound[max(0, first) : max(0, first + FRAME_SAMPLES)]
            low = max(0, -first)
            found[low : low + len(piece)] += piece[: FRAME_SAMPLES - low] * 10 ** (BACK_DB / 20)
        return found


def _noise(kind: str) -> np.ndarray:
    """A minute of room noise of -70 dBFS, or of wind 10 dB below her voice."""
    rng = np.random.default_rng(3)
    size = 60 * SAMPLE_RATE_HZ
    if kind == "quiet":
        return rng.normal(0, 32768 * 10 ** (-70 / 20), size)
    wind = coloured(size, "wind", rng).astype(np.float64)
    return wind / np.sqrt(np.mean(wind**2)) * 32768 * 10 ** ((HER_DBFS - 10) / 20)


def _loud(samples: Samples) -> float:
    wide = samples.astype(np.float64)
    return float(np.sqrt(np.mean(wide[np.abs(wide) > 0.05 * np.abs(wide).max()] ** 2)))


def _spelt(size: Decimal) -> str:
    whole_part, _, places = str(size).partition(".")
    return f"{whole_part} point {' '.join(_WORDS[int(digit)] for digit in places)}"


def main() -> None:
    """Print the seconds a tree by echo length, device and noise."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--echo", choices=ECHOES, nargs="*", default=list(ECHOES[1:]))
    parser.add_argument("--device", choices=DEVICES, nargs="*", default=list(DEVICES))
    parser.add_argument("--noise", choices=NOISES, nargs="*", default=["quiet"])
    given = parser.parse_args()
    print("| echo | device | noise | a tree, median | 90th percentile | warned, median", end="")
    print(" | end of speech to echo | said again | wrong saves |\n|" + "---|" * 9)
    engine = ClosedEngine()
    for echo in given.echo:
        for device in given.device:
            for noise in given.noise:
                walk = Walk(echo, device, noise, engine)
                found = list(walk.trees())
                plain = sorted(seconds for seconds, warned in found if not warned)
                asked = [seconds for seconds, warned in found if warned]
                print(
                    f"| {echo} | {device} | {noise} | {statistics.median(plain):.1f} s "
                    f"| {plain[int(0.9 * len(plain))]:.1f} s | {statistics.median(asked):.1f} s "
                    f"| {statistics.median(walk.ends):.2f} s | {walk.again} | {walk.wrong} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
