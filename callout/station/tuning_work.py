"""Tunes a head to one measurer's utterances, and hears them before and after.

The after-figures come from heads that did not learn from the utterances they hear: each part of
them is kept back once, and the head to keep learns from all only afterwards. Nothing is written.
"""

from __future__ import annotations

import math
import tempfile
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
from callout.speech.closed.adapt import Example, Recipe, Weights, adapted
from callout.speech.closed.ctc import ctc
from callout.speech.closed.decode import Decoder
from callout.speech.closed.encoder import Encoder, Frames
from callout.speech.closed.engine import HEAD, LEAD_S, Thresholds, confidence
from callout.speech.closed.head import Head
from callout.speech.closed.tuned import About, digest_of, packed, weights_of
from callout.speech.closed.variants import in_noise, variant
from callout.speech.engine import SAMPLE_RATE_HZ, Samples
from callout.station.tuning import (
    REHEARSED,
    Figures,
    Judged,
    Take,
    folds,
    is_better,
    own_margin,
    words_fault,
)

VARIANTS, PARTS = 6, 4
WIND_DB = 10.0
_VOICES = ("en-gb", "en-us")

Tell = Callable[[str, int, int], None]
"""What is being done, how much of it is done, and how much there is."""


@dataclass(frozen=True)
class Encoded:
    """One utterance in encoder frames: as it was said, in wind, and its variants to learn from."""

    words: tuple[str, ...]
    plain: Frames
    windy: Frames
    variants: tuple[Frames, ...]


@dataclass(frozen=True)
class Tuned:
    """What tuning came to: the figures, and the file of the head to keep where it is better."""

    before: Figures
    after: Figures
    head: bytes | None
    base: str
    """The SHA-256 of the head it came from."""


class Tuning:
    """One head, one grammar, one encoder. Raises DeviceError where they cannot be had."""

    def __init__(self, spoken: Automaton, base: Path = HEAD, encoder: Encoder | None = None):
        # Its matrices are small: more threads in one would only wait; the parts take a core each.
        threadpool_limits(limits=1, user_api="blas")
        self._encoder = encoder or Encoder()
        self._spoken, self._digest = spoken, digest_of(base)
        self._head = Head(base)
        self._weights, self._words = weights_of(base)
        self._decoder = Decoder(spoken, self._head.index)

    def fault(self, take: Take) -> str | None:
        """Why the utterance cannot be the words prompted; None where it may well be."""
        unknown = sorted(set(take.words) - set(self._words))
        if unknown:
            return f"{', '.join(unknown)}: no word that can be heard"
        log_probs = self._head.log_probs(self._frames(take.samples))
        losses, _ = ctc([log_probs], [self._labels(take.words)])
        free = float(log_probs.max(axis=1).sum())
        return words_fault(-float(losses[0]), free, len(take.words))

    def encode(self, takes: Sequence[Take], tell: Tell, seed: int = 1) -> list[Encoded]:
        """Every utterance through the encoder, as it was and as it might have sounded."""
        rng = np.random.default_rng(seed)
        found = []
        for at, take in enumerate(takes):
            tell("encoding", at, len(takes))
            others = tuple(self._frames(variant(take.samples, rng)) for _ in range(VARIANTS - 1))
            windy = self._frames(in_noise(take.samples, "wind", WIND_DB, rng))
            found.append(Encoded(take.words, self._frames(take.samples), windy, others))
        return found

    def tune(self, takes: Sequence[Encoded], who: str, tell: Tell) -> Tuned:
        """Learn with each part kept back, judge on it, and where that is better learn from all."""
        rehearsal = self._rehearsal(tell)
        before = [one for take in takes for one in self._judged(self._head, take)]
        parts = folds(len(takes), PARTS)
        after: list[Judged] = []
        steps = [0] * (len(parts) + 1)

        def learn(part: int, learnt: Sequence[int]) -> Weights:
            def progress(done: int, of: int) -> None:
                steps[part] = done
                tell("learning", sum(steps), of * len(steps))

            return self.learn([takes[at] for at in learnt], rehearsal, progress)

        def kept_back(part: int) -> list[Judged]:
            learnt, back = parts[part]
            head = self.head_of(learn(part, learnt), who)
            return [one for at in back for one in self._judged(head, takes[at])]

        with ThreadPoolExecutor(2) as pool:
            for found in pool.map(kept_back, range(len(parts))):
                after += found
        figures = Figures.of(before), Figures.of(after)
        if not is_better(*figures):
            return Tuned(*figures, None, self._digest)
        weights = learn(len(parts), range(len(takes)))
        head = self.packed(weights, who, own_margin(after, Thresholds().margin))
        return Tuned(*figures, head, self._digest)

    def learn(
        self,
        takes: Sequence[Encoded],
        rehearsal: Sequence[Frames],
        progress: Callable[[int, int], None] = lambda done, of: None,
        recipe: Recipe | None = None,
    ) -> Weights:
        """A head's weights, learnt from all of ``takes``."""
        examples = [
            Example(frames, self._labels(take.words))
            for take in takes
            for frames in (take.plain, *take.variants)
        ]
        return adapted(self._weights, examples, rehearsal, recipe, progress)

    def head_of(self, weights: Weights, who: str) -> Head:
        """The head as it would be read from its file."""
        with tempfile.TemporaryDirectory(prefix="callout-tune-") as folder:
            path = Path(folder) / "head.npz"
            path.write_bytes(self.packed(weights, who))
            return Head(path)

    def packed(self, weights: Weights, who: str, margin: float = 0.0) -> bytes:
        """The bytes of the tuned head's file."""
        about = About(who, self._digest, margin)
        return packed(weights, self._words, about)

    def _judged(self, head: Head, take: Encoded) -> list[Judged]:
        return [self.judge(head, frames, take.words) for frames in (take.plain, take.windy)]

    def judge(self, head: Head, frames: Frames, words: tuple[str, ...]) -> Judged:
        """What ``head`` hears in ``frames``, against the words that were said."""
        limits = Thresholds()
        found = self._decoder.meanings(head.log_probs(frames))
        if not found or found[0].score < limits.drop:
            return Judged(words, (), right=False, accepted=False)
        said, heard = self._meant(words), self._meant(found[0].words)
        rival = next((other for other in found[1:] if other.words != found[0].words), None)
        margin = found[0].score - rival.score if rival else math.inf
        accepted = confidence(found, limits) > 0.5
        return Judged(words, found[0].words, heard == said, accepted, margin)

    def _meant(self, words: Sequence[str]) -> frozenset[object]:
        return frozenset(meanings_of(self._spoken, [Heard(word, word) for word in words]))

    def _rehearsal(self, tell: Tell) -> list[Frames]:
        """Words that are not prompted, by the voice of the echo: the head is held to them."""
        found = []
        for name in _VOICES:
            try:
                voice = Voice(VoiceSettings(name))
                for at, words in enumerate(REHEARSED):
                    tell("rehearsing", at, len(REHEARSED))
                    found.append(self._frames(voice.say(words)))
            except DeviceError:
                continue  # without a voice only the pull to the base is left
        return found

    def _labels(self, words: Sequence[str]) -> tuple[int, ...]:
        return tuple(self._head.index[word] for word in words)

    def _frames(self, samples: Samples) -> Frames:
        quiet = np.zeros(int(LEAD_S * SAMPLE_RATE_HZ), dtype=np.int16)
        return self._encoder.encode(np.concatenate([quiet, samples, quiet]))
