"""The CTC loss of whole utterances and its gradient, in numpy, in logarithms.

After A. Graves, S. Fernández, F. Gomez and J. Schmidhuber, "Connectionist temporal classification"
(ICML 2006): equations 6 to 16. Frames and labels in, numbers out; no head and no sound here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from callout.speech.closed.head import BLANK

Labels = tuple[int, ...]
_Array = NDArray[np.float64]
_NEVER = -np.inf


def ctc(
    log_probs: Sequence[NDArray[np.float32]], labels: Sequence[Labels]
) -> tuple[_Array, list[NDArray[np.float32]]]:
    """Each utterance's loss, and its gradient over the logits that gave the probabilities.

    ``log_probs`` are (T, V), ``labels`` hold no blank. The loss, shape (B,), is minus the natural
    logarithm of the labels' probability: infinite, and the gradient nothing, where there are too
    few frames for them.
    """
    spread = [_with_blanks(one) for one in labels]
    onward = _forward(log_probs, spread)
    # Backward is forward with time and labels turned round.
    back = _forward([one[::-1] for one in log_probs], [one[::-1] for one in spread])
    losses = np.empty(len(spread))
    gradients = []
    for at, (rows, states) in enumerate(zip(log_probs, spread, strict=True)):
        length, count = len(rows), len(states)
        total = float(np.logaddexp.reduce(onward[at, length - 1, max(0, count - 2) : count]))
        losses[at] = -total
        if not np.isfinite(total):
            gradients.append(np.zeros_like(rows))
            continue
        reached = onward[at, :length, :count]
        turned = back[at, :length, :count][::-1, ::-1]
        share = np.exp(reached + turned - rows[:, states] - total)
        occupied = np.zeros(rows.shape)
        for state, label in enumerate(states):
            occupied[:, label] += share[:, state]
        gradients.append((np.exp(rows) - occupied).astype(np.float32))
    return losses, gradients


def log_likelihoods(
    log_probs: NDArray[np.float32], labels: Sequence[Labels]
) -> NDArray[np.float64]:
    """The natural log of the probability of each of ``labels`` in the same (T, V)."""
    spread = [_with_blanks(one) for one in labels]
    last = _forward([log_probs] * len(spread), spread)[:, -1]
    return np.array(
        [
            np.logaddexp.reduce(row[max(0, len(one) - 2) : len(one)])
            for row, one in zip(last, spread, strict=True)
        ]
    )


def prefix_scores(log_probs: NDArray[np.float32], labels: Sequence[int]) -> _Array:
    """The natural log of the probability that the frames up to each one say ``labels``, (T,)."""
    onward = _forward([log_probs], [_with_blanks(tuple(labels))])[0]
    ends: _Array = np.logaddexp(onward[:, -1], onward[:, -2])
    return ends


def _with_blanks(labels: Labels) -> NDArray[np.int64]:
    states = np.full(2 * len(labels) + 1, BLANK, dtype=np.int64)
    states[1::2] = labels
    return states


def _forward(
    log_probs: Sequence[NDArray[np.float32]], spread: Sequence[NDArray[np.int64]]
) -> _Array:
    """(B, T, S): logarithm of the probability of all ways to be in state s at frame t.

    Frames and states past an utterance's own are filled up and mean nothing.
    """
    longest = max(len(rows) for rows in log_probs)
    most = max(len(states) for states in spread)
    said = np.full((len(spread), longest, most), _NEVER)
    skips = np.zeros((len(spread), most), dtype=bool)
    for at, (rows, states) in enumerate(zip(log_probs, spread, strict=True)):
        said[at, : len(rows), : len(states)] = rows[:, states]
        # A blank between two words may be left out, unless they are the same word.
        skips[at, 2 : len(states)] = (states[2:] != BLANK) & (states[2:] != states[:-2])
    ways = np.full_like(said, _NEVER)
    ways[:, 0, :2] = said[:, 0, :2]
    for frame in range(1, longest):
        before = ways[:, frame - 1]
        now = before.copy()
        now[:, 1:] = np.logaddexp(now[:, 1:], before[:, :-1])
        now[:, 2:] = np.logaddexp(now[:, 2:], np.where(skips[:, 2:], before[:, :-2], _NEVER))
        ways[:, frame] = now + said[:, frame]
    return ways
