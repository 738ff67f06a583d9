"""Takes a set to an engine: people's digits, whole callouts, and each of them in every condition.

Engines of a set are prepared once; every utterance is heard through the public protocol.
"""

from __future__ import annotations

import random
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from benchmarks.hearing import chatter, sets
from benchmarks.hearing.callouts import draw
from benchmarks.hearing.judge import digits_automaton
from benchmarks.hearing.kept import kept
from benchmarks.hearing.outcomes import Outcome, outcome_of
from benchmarks.hearing.plot import SCOPE
from benchmarks.hearing.sets import RATE, Spoken, as_int16
from benchmarks.hearing.voices import VOICES, said
from callout.grammar.automaton import Automaton
from callout.grammar.parser import choose, meanings_of
from callout.grammar.scope import Scope
from callout.grammar.words import Heard
from callout.speech.engine import Engine, Samples
from callout.station.data import load_language

LENGTHS = (2, 3, 4, 5)
# As an endpointer cuts an utterance: its pre-roll before, its hang-over after.
BEFORE_S, AFTER_S = 0.3, 0.75
Treat = Callable[[Spoken], Spoken]
Front = Callable[[Samples], Samples]


def digits_of(work: Path, folder: Path, person: str, count: int) -> list[Spoken]:
    """``count`` strings of 2 to 5 digits by one person."""

    def make() -> list[Spoken]:
        each = [sets.digit_strings(folder, person, count // 4, length) for length in LENGTHS]
        return [one for strings in each for one in strings]

    return kept(work / "sets", f"digits-{person}-{count}", make)


def callouts_by(work: Path, voice: str, count: int, seed: int = 23) -> list[Spoken]:
    """``count`` callouts of the plot by one voice; three of five as most are said."""

    def make() -> list[Spoken]:
        automaton = load_language("en").spoken_in(SCOPE)
        spoken = []
        for number in range(count):
            rng = random.Random(zlib.crc32(f"{seed}/{voice}/{number}".encode()))
            one = draw(automaton, rng, walked=number % 5 > 2)
            spoken.append(Spoken(_padded(said(one.text, voice, rng)), one.words, voice))
        return spoken

    return kept(work / "sets", f"callouts-{voice}-{count}", make)


def talk(work: Path) -> list[Spoken]:
    """Sentences for a second talker in the background."""

    def make() -> list[Spoken]:
        rng = random.Random(77)
        voices = [rng.choice(VOICES) for _ in range(20)]
        waves = [said(chatter.sentence(rng), voice, rng) for voice in voices]
        return [Spoken(as_int16(w), (), v) for w, v in zip(waves, voices, strict=True)]

    return kept(work / "sets", "talk", make)


def _padded(wave: sets.Wave) -> Samples:
    whole = np.concatenate([np.zeros(int(BEFORE_S * RATE)), wave, np.zeros(int(AFTER_S * RATE))])
    noise = np.random.default_rng(len(wave)).normal(size=len(whole)) * 0.5 * 10 ** (-70 / 20)
    return as_int16((whole + noise).astype(np.float32))


def conditions(work: Path) -> dict[str, Treat]:
    """Every condition by name: noise by the power of the loud parts over it."""
    others = talk(work)

    def noise(kind: str, snr_db: int) -> Treat:
        return lambda spoken: sets.noisy(spoken, kind, snr_db)

    def two(spoken: Spoken) -> Spoken:
        return sets.with_second_talker(spoken, others[len(spoken.samples) % len(others)])

    made: dict[str, Treat] = {"clean": lambda spoken: spoken}
    for kind in ("wind", "pink", "white"):
        made |= {f"{kind} {snr_db} dB": noise(kind, snr_db) for snr_db in (20, 10, 5)}
    return made | {"clipped": sets.clipped, "distant": sets.distant, "second talker": two}


def digits_scope() -> tuple[Automaton, Scope]:
    """Strings of 2 to 5 digits, as a tag is spelt where any tag may be."""
    return digits_automaton(LENGTHS[0], LENGTHS[-1]), Scope()


def plot_scope() -> tuple[Automaton, Scope]:
    """All that may be said in the invented plot."""
    return load_language("en").spoken_in(SCOPE), SCOPE


def heard(
    engine: Engine,
    listening: tuple[Automaton, Scope],
    spoken: Sequence[Spoken],
    front: Front | None = None,
) -> Iterator[Outcome]:
    """Every utterance by an engine that was prepared, ``front`` before it and in its time."""
    automaton, scope = listening
    for one in spoken:
        tokens = [Heard(word, word) for word in one.words]
        (truth,) = choose("", meanings_of(automaton, tokens), scope).meanings
        wall, cpu = time.perf_counter(), time.process_time()
        found = engine.hear(front(one.samples) if front else one.samples)
        times = (len(one.samples) / RATE, time.perf_counter() - wall, time.process_time() - cpu)
        yield outcome_of(one.voice, one.words, truth, found, scope, times)
