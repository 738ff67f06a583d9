"""Hears a set with the closed-vocabulary engine and says what was right, asked and wrong.

Knows nothing of how sets are made.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing.sets import DIGITS, RATE, Spoken
from callout.grammar.automaton import Arc, Automaton, Emits
from callout.speech.closed.decode import Decoder, free_words
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.head import Head

LEAD_S = 0.3


@dataclass(frozen=True)
class Outcome:
    """One utterance judged: was the likeliest meaning right, and how sure was the search."""

    voice: str
    words: tuple[str, ...]
    heard: tuple[str, ...]
    right: bool
    log_prob: float
    margin: float
    free: tuple[str, ...]
    milliseconds: float


def digits_automaton(least: int, most: int) -> Automaton:
    """Strings of ``least`` to ``most`` digits, as tags; zero and oh mean the same."""
    arcs = tuple(
        tuple(
            Arc(word, (str(digit),) if state else ("@tag", str(digit)), state + 1)
            for digit, names in enumerate([("zero", "oh"), *((name,) for name in DIGITS[1:])])
            for word in names
        )
        if state < most
        else ()
        for state in range(most + 1)
    )
    return Automaton(0, frozenset(range(least, most + 1)), arcs)


def encode(encoder: Encoder, samples: NDArray[np.int16]) -> NDArray[np.float32]:
    """Encoder frames with a lead-in and a tail of silence."""
    quiet = np.zeros(int(LEAD_S * RATE), np.int16)
    return encoder.encode(np.concatenate([quiet, samples, quiet]))


def judged(
    frames: Sequence[NDArray[np.float32]],
    spoken: Sequence[Spoken],
    head: Head,
    automaton: Automaton,
) -> list[Outcome]:
    """Every utterance of a set, from its encoder frames."""
    decoder = Decoder(automaton, head.index)
    outcomes = []
    for one, sound in zip(frames, spoken, strict=True):
        began = time.perf_counter()
        log_probs = head.log_probs(one)
        found = decoder.meanings(log_probs)
        spent = (time.perf_counter() - began) * 1000
        margin = found[0].score - found[1].score if len(found) > 1 else 50.0
        outcomes.append(
            Outcome(
                sound.voice,
                sound.words,
                found[0].words if found else (),
                bool(found) and found[0].emits in emits_of(automaton, sound.words),
                found[0].score if found else -math.inf,
                margin if found else 0.0,
                free_words(log_probs, head.words),
                spent,
            )
        )
    return outcomes


def emits_of(automaton: Automaton, words: Sequence[str]) -> set[Emits]:
    """Everything the automaton may mean by the words."""
    reached: set[tuple[int, Emits]] = {(automaton.start, ())}
    for word in words:
        reached = {
            (arc.target, emits + arc.emits)
            for state, emits in reached
            for arc in automaton.arcs[state]
            if arc.word == word
        }
    return {emits for state, emits in reached if state in automaton.finals}
