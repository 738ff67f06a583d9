"""What ending an utterance early gains, and what it cuts in two, by the engine that hears.

``python -m benchmarks.early_end``. Prints medians and counts; nothing here is a test. Callouts of
one plot are spoken by espeak-ng in one go, or with a pause between any two words. People say digits
(Free Spoken Digit Dataset, Z. Jackson and others, CC BY-SA 4.0), four a string, with one of 0.5 s
after the second; strings as they come; and what is no callout (census, accents). Those are from
../shared/audio; skipped, saying so, where absent. A callout is cut where it was ended and taken
while more of it was to come; that is harmless where what was taken is what all of it means.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path

import numpy as np

from benchmarks.endpointing import AUDIO, SPEAKERS, VOICES, digit_trials, levelled, quiet, trimmed
from benchmarks.hearing.callouts import Called, draw
from benchmarks.hearing.natural import NO_CALLOUT, people
from benchmarks.hearing.plot import SCOPE
from benchmarks.hearing.sets import Spoken, noisy
from callout.core.checking.checks import Rules
from callout.core.events import Heard, Opened
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings
from callout.grammar.automaton import Automaton
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.sound.endpoint import Endpointer
from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, frames_of
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.closed.closed_engine import ClosedEngine
from callout.station.data import load_language
from callout.station.deciding import sure, whole

AT = "2026-06-02T09:15:00+02:00"
PLOT = Plot(PlotSettings("K2"), {})
PAUSES_S = (0.0, 0.3, 0.4, 0.5, 0.6)
CONDITIONS = ("-70", "-50", "-40", "wind")


@dataclass
class Count:
    """Of one set; ``ends_s`` from the last word's end until its utterance was over."""

    trials: int = 0
    early: int = 0
    cut: int = 0
    harmful: list[str] = field(default_factory=list)
    ends_s: list[float] = field(default_factory=list)
    asked: int = 0
    decode_s: list[float] = field(default_factory=list)

    def __str__(self) -> str:
        ends = f"{statistics.median(self.ends_s):.2f} s" if self.ends_s else "-"
        looks = self.asked / max(1, self.trials)
        took_ms = 1000 * statistics.median(self.decode_s or [0.0])
        told = f"{self.trials} | {self.early} | {ends} | {self.cut} | {len(self.harmful)}"
        return f"{told} | {looks:.2f} | {took_ms:.0f} ms"


def begun() -> Memory:
    """After three trees measured in the plot's unit: until then a unit may follow a size."""
    survey = Survey({"K2": PLOT}, {"K2": Rules()})
    memory, _ = step(survey, Memory(), Opened(1, AT, "K2", "R.V."))
    sizes = [Meaning("reading", tag=tag, value=Decimal("20.7")) for tag in ("901", "902", "903")]
    said = [means for size in sizes for means in (size, Meaning("accept"))]
    for entry, means in enumerate(said, start=2):
        event = Heard(entry, AT, "typed", "", (means,), about=memory.asking)
        memory, _ = step(survey, memory, event)
    assert len(memory.undoable) == 3
    return memory


class Ears:
    """An engine and an endpointer, as a station has them."""

    def __init__(self, settings: EndpointSettings) -> None:
        self.spoken: Automaton = load_language("en").spoken_in(SCOPE)
        self.engine, self.settings, self.memory = ClosedEngine(), settings, begun()
        self.engine.prepare(self.spoken)

    def hear(self, sound: Samples, end_s: float, means: Meaning | None, count: Count) -> None:
        """One trial: the last word ends at ``end_s``, and ``means`` is what all of it means."""
        endpointer = Endpointer(self.settings)
        count.trials += 1
        for frame in frames_of(sound):
            if endpointer.push(frame) and frame.start_s > end_s:
                count.ends_s.append(frame.end_s - end_s)
                return
            utterance = endpointer.so_far()
            if utterance is None:
                continue
            began = time.perf_counter()
            heard = self.engine.hear(utterance.samples)
            count.decode_s.append(time.perf_counter() - began)
            count.asked += 1
            if not heard or not whole(heard[0], self.spoken, SCOPE, PLOT, self.memory):
                continue
            endpointer.end()
            if frame.end_s > end_s:
                count.early += 1
                count.ends_s.append(frame.end_s - end_s)
                return
            count.cut += 1
            taken = sure(heard[0], SCOPE).meanings
            if means is None or [replace(one, unit=None) for one in taken] != [
                replace(means, unit=None)
            ]:
                count.harmful.append(heard[0].words)


def spoken(one: Called, voice: Voice, pause_s: float, rng: random.Random) -> Samples:
    """The callout with a pause between any two of its words; as it comes for none."""
    if not pause_s or len(one.words) < 2:
        return trimmed(levelled(voice.say(one.text)))
    at = rng.randrange(1, len(one.words))
    parts = [" ".join(one.words[:at]), " ".join(one.words[at:])]
    first, second = (trimmed(levelled(voice.say(text))) for text in parts)
    return np.concatenate([first, quiet(pause_s), second])


def in_noise(sound: Samples, condition: str, rng: np.random.Generator) -> Samples:
    """With a second before and after; in wind at 10 dB, or white noise at that level (dBFS)."""
    whole_sound = np.concatenate([quiet(1.0), sound, quiet(1.5)])
    if condition == "wind":
        return noisy(Spoken(whole_sound, (), "wind"), "wind", 10).samples
    noise = rng.normal(0, 32768 * 10 ** (float(condition) / 20), whole_sound.size)
    return np.clip(whole_sound + noise, -32768, 32767).astype(np.int16)


def of_voices(ears: Ears, given: argparse.Namespace, walked: bool) -> Iterator[tuple[str, Count]]:
    for pause_s in given.pause:
        for condition in given.noise:
            rng, numbers, count = random.Random(3), np.random.default_rng(3), Count()
            for number in range(given.callouts):
                voice = Voice(VoiceSettings(VOICES[number % len(VOICES)], rng.randint(140, 190)))
                one = draw(ears.spoken, rng, walked)
                sound = spoken(one, voice, pause_s, rng)
                end_s = 1.0 + sound.size / SAMPLE_RATE_HZ
                ears.hear(in_noise(sound, condition, numbers), end_s, one.meaning, count)
            kind = "walks" if walked else "as most are said"
            yield f"{kind}, pause {pause_s} s, {condition}", count


def of_people(ears: Ears, folder: Path, most: int) -> Iterator[tuple[str, Count]]:
    for speaker in SPEAKERS:
        for pause_s in (0.0, 0.5):
            count, numbers = Count(), np.random.default_rng(2)
            for sound, truth in digit_trials(folder / "spoken_digits", speaker, pause_s)[:most]:
                noise = numbers.normal(0, 32768 * 10 ** (-70 / 20), sound.size)
                noised = np.clip(sound + noise, -32768, 32767).astype(np.int16)
                ears.hear(noised, truth[-1][1], None, count)
            yield f"{speaker}, four digits, pause {pause_s} s", count
    for kind, found in people(folder).items():
        count = Count()
        for one in found[: 3 * most]:
            clip = trimmed(levelled(one.samples))
            sound = np.concatenate([quiet(1.0), clip, quiet(1.5)])
            hum = np.random.default_rng(2).normal(0, 10, sound.size)
            end_s = 1.0 + clip.size / SAMPLE_RATE_HZ
            ears.hear((sound + hum).astype(np.int16), end_s, None, count)
        yield kind + (" (no callouts)" if kind in NO_CALLOUT else ""), count


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--callouts", type=int, default=60)
    parser.add_argument("--strings", type=int, default=50, help="of people, a set")
    parser.add_argument("--pause", type=float, nargs="*", default=PAUSES_S)
    parser.add_argument("--noise", choices=CONDITIONS, nargs="*", default=CONDITIONS)
    parser.add_argument("--whole-after", type=float, default=EndpointSettings().whole_after_s)
    parser.add_argument("--audio", type=Path, default=AUDIO.parent)
    given = parser.parse_args()
    ears = Ears(EndpointSettings(whole_after_s=given.whole_after))
    print(
        "| set | trials | ended early | end, median | cut in two | of these another meaning", end=""
    )
    print(" | decoded at pauses, a trial | a decode |\n|---|---|---|---|---|---|---|---|")
    sets = [of_voices(ears, given, False), of_voices(ears, given, True)]
    if given.audio.is_dir():
        sets.append(of_people(ears, given.audio, given.strings))
    else:
        print(f"People skipped: {given.audio} is not there.")
    for found in sets:
        for name, count in found:
            print(f"| {name} | {count} |", *count.harmful, flush=True)


if __name__ == "__main__":
    main()
