"""What is said while the voice speaks: how surely a "no" cuts it, and what cuts it wrongly.

    PYTHONPATH=.:tests/sound python benchmarks/barge_in.py [--trials 200]

Rooms, loudspeakers and noise are simulated (tests/sound/loudspeaker.py), one a session of ten
echoes, since a canceller learns its room; the voice, the canceller, the endpointer and the default
engine are those that are used; "no" and "yes" are people's (census recordings, beside the project),
the corrections espeak-ng's. Nothing is a test here.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np
from loudspeaker import Sound, _add, _loud, _noise, _returned, _whole
from people import words_of_people

from benchmarks.hearing.plot import SCOPE
from callout.core.checking.checks import Rules
from callout.core.events import Heard, Opened
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Tree
from callout.grammar.automaton import Automaton
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.sound.endpoint import Endpointer
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, frames_of
from callout.sound.own.onset import Onset
from callout.sound.own.own_voice import OwnVoice, canceller
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.closed.closed_engine import ClosedEngine
from callout.station.data import load_language
from callout.station.deciding import AsHeard, EchoTimes, cuts, over_voice, sure

BEGAN = datetime.fromisoformat("2026-06-02T09:15:00+02:00")
TAG, SIZE = "38", Decimal("31.8")
SESSION, LEAD_S, AFTER_S, SPEECH_DB = 10, 1.0, 2.5, -24.0


@dataclass
class Count:
    """Of one kind of trial; ``late_s`` from the end of the word to the cut."""

    trials: int = 0
    cut: int = 0
    taken: int = 0
    yes: int = 0
    signs: int = 0
    late_s: list[float] = field(default_factory=list)

    def __str__(self) -> str:
        late = f"{statistics.median(self.late_s):.2f} s" if self.late_s else "-"
        return f"{self.trials} | {self.cut} | {late} | {self.taken} | {self.yes} | {self.signs}"


class Ears:
    """What a station has, with a reading of tree 38 that waits for its yes."""

    def __init__(self) -> None:
        self.spoken: Automaton = load_language("en").spoken_in(SCOPE)
        self.engine = ClosedEngine()
        self.engine.prepare(self.spoken)
        trees = {tag: Tree("K2", tag) for tag in SCOPE.tags or ()}
        survey = Survey({"K2": Plot(PlotSettings("K2"), trees)}, {"K2": Rules()})
        memory, _ = step(survey, Memory(), Opened(1, BEGAN.isoformat(), "K2", "R.V."))
        meaning = Meaning("reading", TAG, SIZE)
        event = Heard(2, BEGAN.isoformat(), "voice", "", (meaning,), confidence=Decimal("0.99"))
        self.memory, _ = step(survey, memory, event)
        assert self.memory.pending is not None

    def hear(
        self,
        own: OwnVoice,
        heard: Samples,
        base_s: float,
        number_s: float,
        word_s: float,
        count: Count,
    ) -> None:
        """One echo, whose number was spoken at ``number_s`` of the stream."""
        endpointer, times = Endpointer(), EchoTimes()
        times.hears_on()
        times._asks, times._spoken_at = (self.memory.asking, ""), BEGAN + timedelta(0, number_s)
        count.trials += 1
        cut, onset = False, Onset()
        for frame in frames_of(heard, base_s):
            frame = own.take(frame)
            whole = endpointer.push(frame)
            if onset.take(frame, voiced=endpointer.voiced, sounds=own.sounds(frame)) and not cut:
                cut = True
                count.cut += 1
                count.late_s.append(frame.end_s - word_s)
            so_far = endpointer.so_far()
            for utterance in (*whole, *([so_far] if so_far is not None else [])):
                if not own.sounded(utterance.start_s + 0.3, utterance.end_s):
                    continue
                candidates = self.engine.hear(utterance.samples)
                if not candidates:
                    continue
                about = times.asked_by(self.memory, BEGAN + timedelta(0, utterance.start_s))
                parsed = sure(candidates[0], SCOPE, waits=True)
                counts = over_voice(
                    parsed,
                    candidates[0],
                    SCOPE,
                    self.memory,
                    about,
                    AsHeard(over=True, was_cut=cut),
                )
                if cuts(counts) and not cut:
                    cut = True
                    count.cut += 1
                    count.late_s.append(frame.end_s - word_s)
                if whole:
                    count.taken += cuts(counts)
                    count.signs += counts is None
                count.yes += counts is not None and not cuts(counts)


def session(
    ears: Ears,
    echoes: Sequence[Samples],
    said: Sequence[Sound],
    coupling_db: float,
    noise: str,
    level_db: float,
    seed: int,
    count: Count,
) -> None:
    """Ten echoes in one room, with somebody speaking over those after the first two."""
    rng = np.random.default_rng(seed)
    own = OwnVoice(canceller() if coupling_db > -50 else None)
    base_s = 0.0
    for number in range(SESSION + 2):
        words = echoes[int(rng.integers(len(echoes)))] / 32768.0
        lead = round(LEAD_S * SAMPLE_RATE_HZ)
        size = 480 * ((lead + words.size + round(AFTER_S * SAMPLE_RATE_HZ)) // 480)
        heard = _noise(size, "wind" if noise == "knocks" else noise, level_db, rng)
        if noise == "knocks":
            for at in rng.integers(lead, lead + words.size, 3):
                knock = rng.standard_normal(1200) * np.exp(-np.arange(1200) / 200) * 0.3
                _add(heard, knock, int(at))
        _add(heard, _returned(words, coupling_db, np.random.default_rng(seed)), lead)
        word_s = base_s
        speaks = len(said) > 0 and number >= 2
        if speaks:
            word = said[int(rng.integers(len(said)))]
            word = word / _loud(word) * 10.0 ** (SPEECH_DB / 20.0)
            at = int(rng.integers(lead + 1600, max(lead + 1601, lead + words.size - word.size)))
            _add(heard, word, at)
            word_s += (at + word.size) / SAMPLE_RATE_HZ
        own.plays(_whole(words), base_s + LEAD_S)
        number_s = base_s + LEAD_S + words.size / SAMPLE_RATE_HZ
        of = count if speaks or not said else Count()
        ears.hear(own, _whole(heard), base_s, number_s, word_s, of)
        base_s += size / SAMPLE_RATE_HZ


def main() -> None:
    """Print one line a kind of trial."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--said", nargs="*", default=["no", "a correction", "yes", "nobody"])
    given = parser.parse_args()
    trials = given.trials
    ears = Ears()
    texts = (f"{TAG}, {SIZE}.", "Thirty-eight, 31 point 8. Confirm?", f"{TAG}, {SIZE}, down 0.4.")
    echoes = [Voice(VoiceSettings("en-gb", 200)).say(text) for text in texts]
    speak = Voice(VoiceSettings("en-us", 170)).say
    corrections = [
        speak(f"no, {size}") / 32768.0
        for size in ("thirty two point eight", "twenty one point three", "thirty one point nine")
    ]
    kinds = {
        "no": words_of_people(("no",)),
        "a correction": corrections,
        "yes": words_of_people(("yes",)),
        "nobody": [],
    }
    print("| said | echo comes back at | noise | trials | cut | after the word", end="")
    print(" | taken at its end | yes before the number | signs |\n|" + "---|" * 9)
    for said in given.said:
        words = kinds[said]
        if said != "nobody" and not words:
            print(f"| {said} | no recordings are at hand |")
            continue
        noises = (
            (("pink", -60.0),)
            if said != "nobody"
            else (("pink", -60.0), ("wind", -40.0), ("knocks", -55.0))
        )
        for coupling_db in (-60.0, -20.0):
            for noise, level_db in noises:
                count = Count()
                for seed in range(-(-trials // SESSION)):
                    session(ears, echoes, words, coupling_db, noise, level_db, seed, count)
                print(
                    f"| {said} | {coupling_db:.0f} dB | {noise} {level_db:.0f} | {count} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
