"""The closed-vocabulary engine behind the common protocol: encoder, head, search, confidence.

Confidence rests on two figures of the best meaning: its probability among everything that could
have been said, grammar or not, and its margin over the next meaning. A tree's former size takes
no part. Where two meanings lie close, both are given back, so that the station asks.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from callout.core.errors import ProgrammerError
from callout.grammar.automaton import Automaton
from callout.grammar.parser import meanings_of
from callout.grammar.words import Heard
from callout.speech.closed.decode import Decoder, Meant, free_words
from callout.speech.closed.encoder import FRAMES_A_SECOND, Encoder
from callout.speech.closed.head import Head, LogProbs
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples, candidate_of
from callout.speech.timed import TimedWord, aligned

HEAD = Path(__file__).with_name("head.npz")
LEAD_S = 0.3
LONGEST_S = 20


@dataclass(frozen=True)
class Thresholds:
    """In natural logarithms; where they come from stands in docs/hearing.md.

    A best meaning less likely than ``drop`` is no callout; one less likely than ``doubt``, or less
    than ``margin`` above the next meaning, is asked about.
    """

    drop: float = -12.0
    doubt: float = -3.0
    margin: float = 3.0


class ClosedEngine:
    """Whisper's encoder with our head, under the plot's automaton."""

    name = "closed"

    def __init__(
        self, folder: Path | None = None, head: Path = HEAD, thresholds: Thresholds | None = None
    ) -> None:
        """Raises DeviceError where encoder or head cannot be used."""
        # The head's matrices are small: more than one thread of numpy only waits for the others.
        threadpool_limits(limits=1, user_api="blas")
        self._encoder, self._head = Encoder(folder), Head(head)
        self._thresholds = thresholds or Thresholds()
        digest = hashlib.sha256(head.read_bytes()).hexdigest()[:12]
        self.model = f"Whisper tiny.en encoder, head {digest}"
        self._spoken: Automaton | None = None
        self._decoder: Decoder | None = None

    def prepare(self, spoken: Automaton) -> None:
        """Listen for the automaton's callouts; words the head never learnt cannot be heard."""
        self._spoken = spoken
        self._decoder = Decoder(spoken, self._head.index)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words of the automaton that this head cannot hear, e.g. a survey's species."""
        return tuple(sorted(spoken.words - set(self._head.words)))

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """The likeliest callout, with another's meanings beside it where the two lie close."""
        if self._spoken is None:
            raise ProgrammerError("prepare() the engine before it hears")
        found = self.meanings(samples)
        if not found or found[0].score < self._thresholds.drop:
            return ()
        best = candidate_of(self._spoken, found[0].words, confidence(found, self._thresholds))
        rival = _rival(found)
        if rival is not None and found[0].score - rival.score < self._thresholds.margin:
            heard = [Heard(word, word) for word in rival.words]
            both = (*best.meanings, *meanings_of(self._spoken, heard))
            best = Candidate(best.words, tuple(dict.fromkeys(both)), best.confidence)
        return (best,)

    def meanings(self, samples: Samples) -> tuple[Meant, ...]:
        """The likeliest meanings of one utterance under the automaton, best first."""
        if self._decoder is None:
            raise ProgrammerError("prepare() the engine before it hears")
        return self._decoder.meanings(self.log_probs(samples)) if len(samples) else ()

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The best meaning's words, from the first frame that says each to the last."""
        log_probs = self.log_probs(samples)
        if self._decoder is None or not len(samples):
            return ()
        found = self._decoder.meanings(log_probs)
        if not found:
            return ()
        words = found[0].words
        spans = aligned(log_probs, [self._head.index[word] for word in words])
        return tuple(
            TimedWord(word, max(0.0, a / FRAMES_A_SECOND - LEAD_S), b / FRAMES_A_SECOND - LEAD_S, p)
            for word, (a, b, p) in zip(words, spans, strict=bool(spans))
        )

    def transcribe_free(self, samples: Samples) -> tuple[str, ...]:
        """What the head hears with no grammar, for disputes and for finding what is wrong."""
        return free_words(self.log_probs(samples), self._head.words)

    def log_probs(self, samples: Samples) -> LogProbs:
        """(T, V) log probabilities, 50 frames a second, a lead-in and a tail added."""
        quiet = np.zeros(int(LEAD_S * SAMPLE_RATE_HZ), dtype=np.int16)
        heard = samples[: LONGEST_S * SAMPLE_RATE_HZ]
        return self._head.log_probs(self._encoder.encode(np.concatenate([quiet, heard, quiet])))


def _rival(found: tuple[Meant, ...]) -> Meant | None:
    """The best meaning of other words; what the same words may also mean is no doubt of hearing."""
    return next((other for other in found[1:] if other.words != found[0].words), None)


def confidence(found: tuple[Meant, ...], limits: Thresholds) -> float:
    """0 to 1; one half where the best meaning would just be asked about."""
    rival = _rival(found)
    margin = found[0].score - rival.score if rival else math.inf
    over = min(found[0].score - limits.doubt, margin - limits.margin)
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, over))))
