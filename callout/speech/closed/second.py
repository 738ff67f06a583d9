"""A second listener for what the head is not sure of: Whisper's own decoder.

The head and the decoder err on different sounds, though both look at the same encoder's frames. The
decoder is never asked what was said, only how likely each of the head's few candidates is, so it
can say nothing that the plot's grammar does not allow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from callout.speech.closed.decode import Meant
from callout.speech.closed.encoder import Encoder, Frames
from callout.speech.closed.tokens import Tokens

# Candidates further behind the best than this, in nats, are not looked at, nor more than ``MOST``.
WITHIN = 14.0
MOST = 8


@dataclass(frozen=True)
class Weighed:
    """A meaning with both listeners' log probabilities, in nats."""

    meant: Meant
    head: float
    decoder: float


class SecondListener:
    """Whisper's decoder over the candidates of the head."""

    def __init__(self, encoder: Encoder) -> None:
        """Raises DeviceError if the model's tokens cannot be read."""
        self._encoder = encoder
        self._tokens = Tokens(encoder.folder / "tokenizer.json")

    def weigh(self, frames: Frames, found: Sequence[Meant]) -> tuple[Weighed, ...]:
        """The best few of ``found``, in their order."""
        near = [one for one in found[:MOST] if one.score > found[0].score - WITHIN]
        decoded = self.likelihoods(frames, [one.words for one in near])
        return tuple(Weighed(one, one.score, told) for one, told in zip(near, decoded, strict=True))

    def likelihoods(self, frames: Frames, strings: Sequence[tuple[str, ...]]) -> list[float]:
        """The natural log of each word string's probability by the decoder."""
        sentences = [self._tokens.sentence(words) for words in strings]
        return self._encoder.likelihoods(frames, sentences) if sentences else []
