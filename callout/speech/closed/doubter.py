"""A third listener that only doubts: a head that learnt from people and proposes nothing.

It says by how much it hears something else in the sound than the words that were chosen. What it
can do is to have a callout asked about; it never adds one and never changes one. Its weights and
what they were learnt from stand in the model card beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from callout.speech.closed.ctc import ctc
from callout.speech.closed.encoder import Frames
from callout.speech.closed.head import Head

DOUBTER = Path(__file__).with_name("doubter.npz")


class Doubter:
    """The head in ``doubter.npz``, or one that never heard the person who is judged."""

    def __init__(self, source: Path = DOUBTER) -> None:
        """Raises DeviceError if the file cannot be read."""
        self._head = Head(source)

    def doubt(self, frames: Frames, words: Sequence[str]) -> float:
        """By how much its likeliest words, in any order, are likelier than ``words``; nats.

        Infinite if ``words`` do not fit in the sound; 0 if it does not know one of them.
        """
        index = self._head.index
        if any(word not in index for word in words):
            return 0.0
        log_probs = self._head.log_probs(frames)
        losses, _ = ctc([log_probs], [tuple(index[word] for word in words)])
        return float(log_probs.max(axis=1).sum() + losses[0])
