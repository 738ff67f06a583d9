"""The grammar of digit strings, and what it may mean by words; the encoder's frames of a sound."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing.sets import DIGITS
from callout.grammar.automaton import Automaton, Emits
from callout.speech.closed.encoder import Encoder


def digits_automaton(least: int, most: int) -> Automaton:
    """Strings of ``least`` to ``most`` digits, as tags; zero and oh mean the same."""
    ways = tuple(
        tuple(
            (word, (str(digit),) if state else ("@tag", str(digit)), state + 1)
            for digit, names in enumerate([("zero", "oh"), *((name,) for name in DIGITS[1:])])
            for word in names
        )
        if state < most
        else ()
        for state in range(most + 1)
    )
    return Automaton(0, frozenset(range(least, most + 1)), ways)


def encode(encoder: Encoder, samples: NDArray[np.int16]) -> NDArray[np.float32]:
    """Encoder frames with a lead-in and a tail of silence."""
    return encoder.encode_apart(samples)


def emits_of(automaton: Automaton, words: Sequence[str]) -> set[Emits]:
    """Everything the automaton may mean by the words."""
    reached: set[tuple[int, Emits]] = {(automaton.start, ())}
    for word in words:
        reached = {
            (target, emits + more)
            for state, emits in reached
            for _, more, target in automaton.leaving[state].get(word, ())
        }
    return {emits for state, emits in reached if state in automaton.finals}
