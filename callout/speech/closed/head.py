"""The head: two one-dimensional convolutions over the encoder's frames, in numpy.

Weights come from ``head.npz``; its vocabulary stands in the file, first the blank, then the
reject token, then words. Trained by ``training/``, see the model card beside the file.
"""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from callout.core.errors import DeviceError
from callout.speech.closed.encoder import Frames

BLANK, REJECT = 0, 1
LogProbs = NDArray[np.float32]
Weights = dict[str, NDArray[np.float32]]
# What else may stand in the file: the words, and of a tuned head what it came from.
_NOT_WEIGHTS = ("words", "base", "who", "margin")


class Head:
    """Encoder frames (T, 384) to log probabilities (T, words)."""

    def __init__(self, source: Path | BinaryIO) -> None:
        """``source`` is a head's file. Raises DeviceError."""
        self._weights, self.words = weights_of(source)
        self.index = {word: at for at, word in enumerate(self.words)}

    def log_probs(self, frames: Frames) -> LogProbs:
        """Log probabilities of every word in every frame."""
        weights = self._weights
        hidden = (frames - weights["mean"]) / weights["scale"]
        hidden = _gelu(_convolved(hidden, weights["w1"], weights["b1"]))
        hidden = _gelu(_convolved(hidden, weights["w2"], weights["b2"]))
        logits = hidden @ weights["w3"] + weights["b3"]
        return log_softmax(logits)


def weights_of(source: Path | BinaryIO) -> tuple[Weights, tuple[str, ...]]:
    """The weights in a head's file, and its words. Raises DeviceError."""
    try:
        with np.load(source, allow_pickle=False) as data:
            weights = {
                name: data[name].astype(np.float32)
                for name in data.files
                if name not in _NOT_WEIGHTS
            }
            return weights, tuple(str(word) for word in data["words"])
    except (OSError, ValueError, KeyError) as error:
        raise DeviceError(f"the head in {source} cannot be read: {error}") from error


def log_softmax(logits: NDArray[np.float32]) -> LogProbs:
    """Log probabilities of (T, words), each frame's own adding up to 1."""
    shifted = logits - logits.max(axis=1, keepdims=True)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)), np.float32)


def _convolved(
    frames: NDArray[np.float32], weight: NDArray[np.float32], bias: NDArray[np.float32]
) -> NDArray[np.float32]:
    """A convolution of odd kernel, padded to keep the length; ``weight`` is (kernel, in, out)."""
    kernel = weight.shape[0]
    padded = np.pad(frames, ((kernel // 2, kernel // 2), (0, 0)))
    length = len(frames)
    total: NDArray[np.float32] = np.tile(bias, (length, 1))
    for at in range(kernel):
        total += np.asarray(padded[at : at + length] @ weight[at], dtype=np.float32)
    return total


def _gelu(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The tanh form, which the training uses too."""
    inner = np.float32(0.7978845608) * (values + np.float32(0.044715) * values * values * values)
    return np.asarray(np.float32(0.5) * values * (1 + np.tanh(inner)), dtype=np.float32)
