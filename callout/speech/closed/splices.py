"""Utterances cut at their pauses and put together anew, so that few words come in many orders.

A head that learnt "four seven" only in that order would lean on the order. Pure: samples, words
and where they were heard go in; which pieces follow each other is drawn from the random numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from callout.speech.closed.encoder import FRAMES_A_SECOND
from callout.speech.engine import SAMPLE_RATE_HZ, Samples

_STEP = SAMPLE_RATE_HZ // 100
_PAUSE_STEPS = 5
_UNDER_DB = 20.0
_MOST_PIECES, _LONGEST_S, _MOST_LEAD_S = 5, 4.0, 0.4


@dataclass(frozen=True)
class Piece:
    """Sound between two pauses, shape (n,), and the words in it."""

    samples: Samples
    words: tuple[str, ...]


def pieces(
    samples: Samples, words: Sequence[str], spans: Sequence[tuple[int, int, float]], lead_s: float
) -> list[Piece]:
    """``samples`` cut wherever 50 ms of quiet lie between two words.

    ``spans`` are encoder frames of each word as ``timed.aligned`` gives them, of a sound that had
    ``lead_s`` of silence before it. Without them the whole is one piece.
    """
    if len(spans) != len(words):
        return [Piece(samples, tuple(words))]
    quiet = _quiet(samples)
    found, since, first = [], 0, 0
    for at in range(1, len(words)):
        a = int((spans[at - 1][0] / FRAMES_A_SECOND - lead_s) * 100)
        b = int((spans[at][1] / FRAMES_A_SECOND - lead_s) * 100)
        cut = _longest_run(quiet[max(0, a) : max(0, b)])
        if cut is not None:
            here = (max(0, a) + cut) * _STEP
            found.append(Piece(samples[since:here], tuple(words[first:at])))
            since, first = here, at
    return [*found, Piece(samples[since:], tuple(words[first:]))]


def spliced(of: Sequence[Piece], rng: np.random.Generator) -> Piece:
    """A few pieces drawn by chance, one after the other, quiet before and after."""
    drawn = [of[int(at)] for at in rng.integers(0, len(of), int(rng.integers(1, _MOST_PIECES + 1)))]
    kept, length = drawn[:1], len(drawn[0].samples)
    for piece in drawn[1:]:
        length += len(piece.samples)
        if length > _LONGEST_S * SAMPLE_RATE_HZ:
            break
        kept.append(piece)
    lead, tail = (
        np.zeros(int(rng.uniform(0, _MOST_LEAD_S) * SAMPLE_RATE_HZ), np.int16) for _ in range(2)
    )
    sound = np.concatenate([lead, *(piece.samples for piece in kept), tail])
    return Piece(sound, tuple(word for piece in kept for word in piece.words))


def _quiet(samples: Samples) -> list[bool]:
    """For each 10 ms, whether it lies well under the loud parts."""
    steps = samples[: len(samples) // _STEP * _STEP].reshape(-1, _STEP).astype(np.float64)
    levels = 10 * np.log10(np.mean(steps**2, axis=1) + 1.0)
    return [bool(level < np.percentile(levels, 90) - _UNDER_DB) for level in levels]


def _longest_run(quiet: Sequence[bool]) -> int | None:
    """The middle of the longest quiet stretch, where it is a pause."""
    best, begin = (0, 0), 0
    for at in range(len(quiet) + 1):
        if at == len(quiet) or not quiet[at]:
            best = max(best, (at - begin, begin))
            begin = at + 1
    length, begin = best
    return begin + length // 2 if length >= _PAUSE_STEPS else None
