"""Words with the times at which they were said, for showing them under the sound.

For display only: ``hear`` decides what was heard, and how surely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from callout.speech.engine import Samples


@dataclass(frozen=True)
class TimedWord:
    """A word from ``start_s`` to ``end_s`` in its sound; ``confidence`` from 0 to 1."""

    word: str
    start_s: float
    end_s: float
    confidence: float


@runtime_checkable
class TimesWords(Protocol):
    """An engine that can tell when each word was said."""

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The words of the best callout under the grammar, in order; empty if there is none."""


def aligned(log_probs: NDArray[np.float32], labels: Sequence[int]) -> list[tuple[int, int, float]]:
    """The likeliest CTC alignment of ``labels`` to (T, V) log probabilities, blank being 0.

    For each label its first frame, the frame after its last, and the geometric mean of its
    probability there. Empty if there are fewer frames than the labels need. After Graves et al.
    2006, section 4, with the maximum in place of the sum.
    """
    states = [0, *(state for label in labels for state in (label, 0))]
    frames = len(log_probs)
    if not labels or frames < len(labels):
        return []
    score = np.full((frames, len(states)), -np.inf)
    came = np.zeros((frames, len(states)), dtype=np.int8)
    score[0, :2] = log_probs[0, states[:2]]
    for at in range(1, frames):
        for state, label in enumerate(states):
            skips = state > 1 and label != 0 and label != states[state - 2]
            steps = [score[at - 1, state - back] for back in range(min(state, 1 + skips) + 1)]
            best = int(np.argmax(steps))
            came[at, state] = best
            score[at, state] = steps[best] + log_probs[at, label]
    if not np.isfinite(max(score[-1, -1], score[-1, -2])):
        return []
    state = len(states) - (1 if score[-1, -1] >= score[-1, -2] else 2)
    path = [0] * frames
    for at in range(frames - 1, -1, -1):
        path[at] = state
        state -= int(came[at, state])
    return [_span(path, 2 * n + 1, label, log_probs) for n, label in enumerate(labels)]


def _span(
    path: list[int], state: int, label: int, log_probs: NDArray[np.float32]
) -> tuple[int, int, float]:
    at = [frame for frame, here in enumerate(path) if here == state]
    return at[0], at[-1] + 1, float(np.exp(log_probs[at, label].mean()))
