"""The closed-vocabulary engine behind the common protocol: encoder, head, search, second listener.

The head proposes a few meanings under the plot's grammar, Whisper's decoder weighs them, and
``surety`` says how sure both are; a third listener may doubt it. A tree's previous size takes no
part. Where it is not sure, the next meaning is given back as well, so that the station can ask
which.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from threadpoolctl import threadpool_limits

from callout.core.errors import ProgrammerError
from callout.core.meaning import Meaning
from callout.grammar.automaton import Automaton
from callout.grammar.parser import meanings_of
from callout.grammar.words import Heard
from callout.speech.closed.decode import Decoder, Meant, free_words
from callout.speech.closed.doubter import DOUBTER, Doubter
from callout.speech.closed.encoder import FRAMES_A_SECOND, LEAD_S, Encoder, Frames
from callout.speech.closed.head import Head, LogProbs
from callout.speech.closed.mel import dull
from callout.speech.closed.names.name_listener import UNLISTED, NameListener
from callout.speech.closed.second import SecondListener
from callout.speech.closed.surety import Choice, Thresholds, by_both, by_head, distinct, doubted
from callout.speech.engine import SAMPLE_RATE_HZ, Candidate, Samples, candidate_of
from callout.speech.timed import TimedWord, aligned

HEAD = Path(__file__).with_name("head.npz")
LONGEST_S = 20
# Meanings the head proposes; several may be of the same words.
PROPOSED = 16
# A new tree's name that is not listed, or was not understood: never taken, asked for.
NO_SPECIES = Candidate("new tree", (Meaning("new", species=""),), 0.0)


class ClosedEngine:
    """Whisper's encoder with our head, under the plot's automaton."""

    name = "closed"

    def __init__(
        self,
        folder: Path | None = None,
        head: Path = HEAD,
        thresholds: Thresholds | None = None,
        second: bool = True,
        doubter: Path | None = DOUBTER,
        names: NameListener | None = None,
    ) -> None:
        """``second`` has the model's decoder weigh what the head proposes.

        ``names`` hears words that the head lacks, a survey's species; it needs ``second``.
        ``doubter`` is the third listener's head. A head that is tuned to one person has none: what
        is strange to others is that person's way to speak.

        Raises DeviceError if encoder, decoder or head cannot be used.
        """
        # The head's matrices are small: more than one thread of numpy only waits for the others.
        threadpool_limits(limits=1, user_api="blas")
        self._encoder, self._head = Encoder(folder), Head(head)
        self._second = SecondListener(self._encoder) if second else None
        self._doubter = Doubter(doubter) if doubter and second else None
        self._names = names if second else None
        self._thresholds = thresholds or Thresholds()
        digest = hashlib.sha256(head.read_bytes()).hexdigest()[:12]
        self.model = f"Whisper tiny.en, head {digest}" + ("" if second else ", head alone")
        self._spoken: Automaton | None = None
        self._decoder: Decoder | None = None

    def prepare(self, spoken: Automaton) -> None:
        """Listen for the automaton's callouts."""
        self._spoken = spoken
        self._decoder = Decoder(spoken, self._head.index)
        if self._names is not None:
            self._names.prepare(spoken, self._head.index)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words of the automaton that cannot be heard."""
        lacking = spoken.words - self._head.index.keys()
        if self._names is not None:
            lacking = self._names.unsayable(lacking)
        return tuple(sorted(lacking))

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """The likeliest callout; where it is in doubt, with the next one's meanings beside it."""
        if self._spoken is None:
            raise ProgrammerError("prepare() the engine before it hears")
        choice = self._choice(samples)
        if choice is None:
            return ()
        if choice is UNLISTED:
            return (NO_SPECIES,)
        best = candidate_of(self._spoken, choice.best.words, choice.confidence)
        if choice.confidence >= 0.5:
            return (best,)
        others: tuple[Meaning, ...] = ()
        if choice.rival is not None:
            heard = [Heard(word, word) for word in choice.rival.words]
            others = meanings_of(self._spoken, heard)
        both = tuple(dict.fromkeys((*best.meanings, *others)))
        likely = best.meanings if choice.likely else ()
        return (Candidate(best.words, both, best.confidence, likely),)

    def _choice(self, samples: Samples) -> Choice | None:
        """What was most likely said, and how surely; None for no callout."""
        if self._decoder is None or not len(samples):
            return None
        frames = self._frames(samples)
        log_probs = self._head.log_probs(frames)
        found = self._decoder.meanings(log_probs, PROPOSED)
        limits = self._thresholds
        choice = chosen(found, frames, log_probs, self._second, limits, dull(samples))
        if choice is not None and self._doubter is not None:
            choice = doubted(choice, self._doubter.doubt(frames, choice.best.words), limits)
        if self._names is None or self._second is None:
            return choice
        if not self._names.may_be(free_words(log_probs, self._head.words)):
            return choice
        return self._names.choice(frames, log_probs, self._second, choice)

    def meanings(self, samples: Samples) -> tuple[Meant, ...]:
        """The likeliest meanings of one utterance as the head proposes them, best first."""
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

    def log_probs(self, samples: Samples) -> LogProbs:
        """(T, V) log probabilities, 50 frames a second, a lead-in and a tail added."""
        return self._head.log_probs(self._frames(samples))

    def _frames(self, samples: Samples) -> Frames:
        return self._encoder.encode_apart(samples[: LONGEST_S * SAMPLE_RATE_HZ])


def chosen(
    found: Sequence[Meant],
    frames: Frames,
    log_probs: LogProbs,
    second: SecondListener | None,
    limits: Thresholds,
    no_treble: bool,
) -> Choice | None:
    """What is taken of what a head proposes, best first; None for no callout.

    ``log_probs`` are the head's for ``frames``; ``no_treble`` is what ``mel.dull`` says.
    """
    if not found or found[0].score < limits.drop:
        return None
    if second is None:
        return by_head(found, limits)
    free = float(log_probs.max(axis=1).sum())
    return by_both(second.weigh(frames, distinct(found)), limits, free, no_treble)
