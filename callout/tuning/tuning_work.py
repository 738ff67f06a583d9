"""Tunes a head to one measurer's utterances, and compares its hearing before and after.

The figures "after" come from heads that did not learn from the utterances they hear: each part is
held out once (cross-validation); the head to keep then learns from all parts. Nothing is written.
"""

from __future__ import annotations

import io
import math
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from callout.core.errors import DeviceError
from callout.grammar.automaton import Automaton
from callout.grammar.parser import meanings_of
from callout.grammar.words import Heard
from callout.sound.voice import Voice, VoiceSettings
from callout.speech.closed.adapt import Example, Recipe, adapted
from callout.speech.closed.closed_engine import HEAD, PROPOSED, chosen
from callout.speech.closed.ctc import ctc
from callout.speech.closed.decode import Decoder
from callout.speech.closed.encoder import LEAD_S, Encoder, Frames
from callout.speech.closed.head import Head, Weights, weights_of
from callout.speech.closed.mel import dull
from callout.speech.closed.second import SecondListener
from callout.speech.closed.splices import Piece, pieces, spliced
from callout.speech.closed.surety import Thresholds
from callout.speech.closed.tuned import About, digest_of, packed
from callout.speech.closed.variants import in_noise, variant
from callout.speech.engine import Samples
from callout.speech.timed import aligned
from callout.tuning.tuning import (
    REHEARSED,
    Figures,
    Judged,
    Take,
    is_better,
    own_margin,
    words_fault,
)

LESSONS, PARTS = 15, 3
"""Lessons per utterance; parts, each held out once."""
WIND_DB = 10.0
_VOICES = ("en-gb", "en-us")

Tell = Callable[[str, int, int], None]
"""Called with what is being done, how much is done, and how much there is."""


@dataclass(frozen=True)
class Encoded:
    """One utterance in encoder frames: as it was said, and in wind."""

    words: tuple[str, ...]
    plain: Frames
    windy: Frames
    dull: tuple[bool, bool]
    """Whether each of the two has no treble."""


@dataclass(frozen=True)
class Part:
    """Utterances that are held out together, and the lessons made of them alone."""

    takes: tuple[Encoded, ...]
    lessons: tuple[Example, ...]


@dataclass(frozen=True)
class Tuned:
    """The result of tuning: the figures, and the file of the head to keep if it is better."""

    before: Figures
    after: Figures
    head: bytes | None
    base: str
    """The SHA-256 of the head that was tuned."""


class Tuning:
    """One head, one grammar, one encoder. Raises DeviceError if they are not available."""

    def __init__(
        self,
        spoken: Automaton,
        base: Path = HEAD,
        encoder: Encoder | None = None,
        second: bool = True,
    ) -> None:
        """``second`` uses the decoder as the engine does when judging; only the head learns."""
        # The matrices are small, so more threads in one would only wait; each part takes a core.
        threadpool_limits(limits=1, user_api="blas")
        self._encoder = encoder or Encoder()
        self._second = SecondListener(self._encoder) if second else None
        self._spoken, self._digest = spoken, digest_of(base)
        self._head = Head(base)
        self._weights, self._words = weights_of(base)
        self._decoder = Decoder(spoken, self._head.index)

    def fault(self, take: Take) -> str | None:
        """Why the utterance cannot be the words prompted; None if it may be."""
        unknown = sorted(set(take.words) - set(self._words))
        if unknown:
            return f"{', '.join(unknown)}: no word that can be heard"
        log_probs = self._head.log_probs(self.frames(take.samples))
        losses, _ = ctc([log_probs], [self._labels(take.words)])
        free = float(log_probs.max(axis=1).sum())
        return words_fault(-float(losses[0]), free, len(take.words))

    def encode(self, takes: Sequence[Take], tell: Tell, seed: int = 1) -> list[Part]:
        """Encode the utterances in parts, as they were and as they might sound."""
        rng = np.random.default_rng(seed)
        parts = max(2, min(PARTS, len(takes)))
        done, of = 0, len(takes) * (LESSONS + 2)
        found = []
        for part in range(parts):
            mine = takes[part::parts]
            encoded = []
            for take in mine:
                windy = in_noise(take.samples, "wind", WIND_DB, rng)
                encoded.append(
                    Encoded(
                        take.words,
                        self.frames(take.samples),
                        self.frames(windy),
                        (dull(take.samples), dull(windy)),
                    )
                )
            lessons = [Example(one.plain, self._labels(one.words)) for one in encoded]
            of_them = [
                piece
                for take, one in zip(mine, encoded, strict=True)
                for piece in self._pieces(take, one)
            ]
            for _ in range(LESSONS * len(mine)):
                made = spliced(of_them, rng)
                frames = self.frames(variant(made.samples, rng))
                lessons.append(Example(frames, self._labels(made.words)))
                done += 1
                tell("encoding", done, of)
            done += 2 * len(mine)
            found.append(Part(tuple(encoded), tuple(lessons)))
        return found

    def tune(self, parts: Sequence[Part], who: str, tell: Tell) -> Tuned:
        """Learn with each part held out, judge on it, and if that is better learn from all."""
        rehearsal = self.rehearsal(tell)
        takes = [take for part in parts for take in part.takes]
        before = [one for take in takes for one in self._judged(self._head, take)]
        steps, left = [0] * (len(parts) + 1), threading.Event()

        def learn(number: int, learnt: Sequence[Part]) -> Weights:
            def progress(done: int, of: int) -> None:
                if left.is_set():
                    raise KeyboardInterrupt  # the person left: the other thread ends too
                steps[number] = done
                tell("learning", sum(steps), of * len(steps))

            return self.learn(learnt, rehearsal, progress)

        def kept_back(number: int) -> list[Judged]:
            others = [part for at, part in enumerate(parts) if at != number]
            head = self.head_of(learn(number, others), who)
            return [one for take in parts[number].takes for one in self._judged(head, take)]

        with ThreadPoolExecutor(2) as pool:
            try:
                after = [one for found in pool.map(kept_back, range(len(parts))) for one in found]
            except BaseException:
                left.set()
                raise
        figures = Figures.of(before), Figures.of(after)
        if not is_better(*figures):
            return Tuned(*figures, None, self._digest)
        weights = learn(len(parts), parts)
        head = self.packed(weights, who, own_margin(after, Thresholds().margin))
        return Tuned(*figures, head, self._digest)

    def learn(
        self,
        parts: Sequence[Part],
        rehearsal: Sequence[Frames],
        progress: Callable[[int, int], None] = lambda done, of: None,
        recipe: Recipe | None = None,
    ) -> Weights:
        """The weights of a head learnt from all of ``parts``."""
        lessons = [lesson for part in parts for lesson in part.lessons]
        return adapted(self._weights, lessons, rehearsal, recipe, progress)

    def head_of(self, weights: Weights, who: str) -> Head:
        """The head as read from its file."""
        return Head(io.BytesIO(self.packed(weights, who)))

    def packed(self, weights: Weights, who: str, margin: float = 0.0) -> bytes:
        """The bytes of the tuned head's file."""
        about = About(who, self._digest, margin)
        return packed(weights, self._words, about)

    def _judged(self, head: Head, take: Encoded) -> list[Judged]:
        sounds = zip((take.plain, take.windy), take.dull, strict=True)
        return [self.judge(head, frames, take.words, no_treble) for frames, no_treble in sounds]

    def judge(self, head: Head, frames: Frames, words: tuple[str, ...], no_treble: bool) -> Judged:
        """What the engine would hear in ``frames`` with ``head``, compared with the words said."""
        log_probs = head.log_probs(frames)
        found = self._decoder.meanings(log_probs, PROPOSED)
        choice = chosen(found, frames, log_probs, self._second, Thresholds(), no_treble)
        if choice is None:
            return Judged(words, (), right=False, accepted=False)
        best = choice.best
        others = [one.score for one in found if one.words != best.words]
        margin = best.score - max(others) if others else math.inf
        right = self._meant(best.words) == self._meant(words)
        return Judged(words, best.words, right, choice.confidence >= 0.5, margin)

    def _meant(self, words: Sequence[str]) -> frozenset[object]:
        return frozenset(meanings_of(self._spoken, [Heard(word, word) for word in words]))

    def rehearsal(self, tell: Tell) -> list[Frames]:
        """Words that are not prompted, by the voice of the echo: the head is held to them."""
        found = []
        for name in _VOICES:
            try:
                voice = Voice(VoiceSettings(name))
                for at, words in enumerate(REHEARSED):
                    tell("rehearsing", at, len(REHEARSED))
                    found.append(self.frames(voice.say(words)))
            except DeviceError:
                continue  # without a voice only the pull towards the base is left
        return found

    def _pieces(self, take: Take, encoded: Encoded) -> list[Piece]:
        log_probs = self._head.log_probs(encoded.plain)
        spans = aligned(log_probs, self._labels(take.words))
        return pieces(take.samples, take.words, spans, LEAD_S)

    def _labels(self, words: Sequence[str]) -> tuple[int, ...]:
        return tuple(self._head.index[word] for word in words)

    def frames(self, samples: Samples) -> Frames:
        """Encoder frames (T, 384), a lead-in and a tail of silence added as the engine does."""
        return self._encoder.encode_apart(samples)
