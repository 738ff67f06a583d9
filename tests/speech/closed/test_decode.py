"""The search against enumeration of every alignment, on small automata made at random."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from callout.grammar.automaton import Automaton, Emits, Way
from callout.speech.closed.decode import Decoder
from callout.speech.closed.head import LogProbs

WORDS = ("<blank>", "<other>", "one", "two", "six")
INDEX = {word: at for at, word in enumerate(WORDS)}


def random_automaton(rng: random.Random) -> Automaton:
    states = rng.randint(2, 5)
    ways: list[tuple[Way, ...]] = [
        tuple(
            (rng.choice(WORDS[2:]), (rng.choice("abc"),), rng.randint(state + 1, states - 1))
            for _ in range(rng.randint(1, 3))
        )
        for state in range(states - 1)
    ]
    return Automaton(0, frozenset([states - 1]), (*ways, ()))


def every_path(automaton: Automaton) -> dict[tuple[str, ...], set[Emits]]:
    found: dict[tuple[str, ...], set[Emits]] = {}
    todo: list[tuple[int, tuple[str, ...], Emits]] = [(automaton.start, (), ())]
    while todo:
        state, words, emits = todo.pop()
        if state in automaton.finals:
            found.setdefault(words, set()).add(emits)
        todo.extend(
            (target, (*words, word), emits + more) for word, more, target in automaton.ways[state]
        )
    return found


def collapsed(labels: tuple[int, ...]) -> tuple[str, ...]:
    """CTC's rule: runs of a label are one, blanks are none (Graves and co-workers 2006)."""
    runs = [label for label, _ in itertools.groupby(labels)]
    return tuple(WORDS[label] for label in runs if label)


def best_by_meaning(automaton: Automaton, log_probs: LogProbs) -> list[float]:
    paths = every_path(automaton)
    sums: dict[Emits, float] = {}
    for labels in itertools.product((0, 2, 3, 4), repeat=len(log_probs)):
        score = sum(float(log_probs[at, label]) for at, label in enumerate(labels))
        for emits in paths.get(collapsed(labels), ()):
            sums[emits] = sums.get(emits, 0.0) + float(np.exp(score))
    return sorted(np.log(list(sums.values())), reverse=True)


@pytest.mark.parametrize("seed", range(60))
def test_best_and_next_meaning_are_those_of_enumeration(seed: int) -> None:
    rng = random.Random(seed)
    automaton = random_automaton(rng)
    drawn = np.random.default_rng(seed).dirichlet(np.ones(len(WORDS)), rng.randint(2, 6))
    log_probs = np.log(drawn).astype(np.float32)
    expected = best_by_meaning(automaton, log_probs)
    found = Decoder(automaton, INDEX).meanings(log_probs)
    assert len(found) >= min(2, len(expected))
    for path, score in zip(found[:2], expected, strict=False):
        assert path.score == pytest.approx(score, abs=1e-3)


def test_a_word_said_twice_needs_a_blank_between() -> None:
    automaton = Automaton(0, frozenset([2]), ((("two", ("2",), 1),), (("two", ("2",), 2),), ()))
    sure = np.full((3, len(WORDS)), -9.0, dtype=np.float32)
    sure[[0, 2], INDEX["two"]] = sure[1, 0] = 0.0
    assert Decoder(automaton, INDEX).meanings(sure)[0].score == pytest.approx(0.0, abs=1e-3)
    run_together = sure[[0, 0, 0]]
    assert Decoder(automaton, INDEX).meanings(run_together)[0].score == pytest.approx(
        -9.0, abs=1e-3
    )


def test_nothing_is_found_where_no_path_fits() -> None:
    automaton = Automaton(0, frozenset([1]), ((("six", ("6",), 1),), ()))
    silence = np.full((4, len(WORDS)), -20.0, dtype=np.float32)
    silence[:, 0] = 0.0
    assert Decoder(automaton, INDEX).meanings(silence) == ()
