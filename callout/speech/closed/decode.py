"""Exact CTC search over a word automaton: the n best meanings with their probabilities.

A prefix of words is kept once, with every state and meaning the automaton gives it, so parses of
the same words share one score and are never counted twice. Each prefix's probability sums over
all alignments; a meaning's sums over its word strings. The search is time-synchronous and pruned:
``beam`` prefixes a frame, none below ``worst`` of the best. No encoder and no sound here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from callout.grammar.automaton import Automaton, Emits
from callout.speech.closed.head import BLANK, LogProbs

BEAM = 40
WORST = 1e-9
LEAST_WORD = 1e-6
_SURELY_BLANK = 0.9995


@dataclass(frozen=True)
class Meant:
    """One meaning: its likeliest words, what they emit, and the natural log of its probability."""

    words: tuple[str, ...]
    emits: Emits
    score: float


@dataclass(eq=False, slots=True)
class _Prefix:
    """Words so far; ``places`` are the states they lead to, with what was emitted on the way."""

    word: int
    words: tuple[str, ...]
    places: tuple[tuple[int, Emits], ...]
    onward: dict[int, _Prefix | None] = field(default_factory=dict)


class Decoder:
    """One automaton, made ready for a head's words. Words the head lacks cannot be heard."""

    def __init__(
        self,
        automaton: Automaton,
        index: Mapping[str, int],
        beam: int = BEAM,
        worst: float = WORST,
        least: float = LEAST_WORD,
    ) -> None:
        self._automaton = automaton
        self._words = {at: word for word, at in index.items()}
        self._beam, self._worst, self._least = beam, worst, least

    def meanings(self, log_probs: LogProbs, most: int = 5) -> tuple[Meant, ...]:
        """The likeliest meanings of (T, V) log probabilities, best first; empty if none ends."""
        root = _Prefix(-1, (), ((self._automaton.start, ()),))
        # What ends in a blank, and what ends in the prefix's last word; rescaled every frame.
        beam: dict[_Prefix, tuple[float, float]] = {root: (1.0, 0.0)}
        scale = 0.0
        for row in np.exp(log_probs.astype(np.float64)):
            beam = self._stepped(beam, row)
            best = max((blank + word for blank, word in beam.values()), default=0.0)
            if best <= 0.0:
                return ()
            scale += math.log(best)
            beam = self._pruned(beam, best)
        return self._ended(beam, scale, most)

    def _stepped(
        self, beam: dict[_Prefix, tuple[float, float]], row: np.ndarray
    ) -> dict[_Prefix, tuple[float, float]]:
        blank = float(row[BLANK])
        if blank > _SURELY_BLANK:
            return {prefix: ((b + w) * blank, 0.0) for prefix, (b, w) in beam.items()}
        likely = [(int(at), float(row[at])) for at in np.flatnonzero(row > self._least) if at]
        chance = dict(likely)
        after: dict[_Prefix, tuple[float, float]] = {}
        for prefix, (b, w) in beam.items():
            total = b + w
            was = after.get(prefix, (0.0, 0.0))
            stays = w * chance.get(prefix.word, 0.0)
            after[prefix] = (was[0] + total * blank, was[1] + stays)
            for word, share in likely:
                enters = b if word == prefix.word else total
                child = self._child(prefix, word) if enters else None
                if child is not None:
                    had = after.get(child, (0.0, 0.0))
                    after[child] = (had[0], had[1] + enters * share)
        return after

    def _child(self, prefix: _Prefix, word: int) -> _Prefix | None:
        if word in prefix.onward:
            return prefix.onward[word]
        places: dict[tuple[int, Emits], None] = {}
        said = self._words.get(word, "")
        for state, emits in prefix.places:
            for _, more, target in self._automaton.leaving[state].get(said, ()):
                places[(target, emits + more)] = None
        child = _Prefix(word, (*prefix.words, said), tuple(places)) if places else None
        prefix.onward[word] = child
        return child

    def _pruned(
        self, beam: dict[_Prefix, tuple[float, float]], best: float
    ) -> dict[_Prefix, tuple[float, float]]:
        """The likeliest, rescaled so that the best has probability 1."""
        least = best * self._worst
        kept = [(p, b / best, w / best) for p, (b, w) in beam.items() if b + w > least]
        if len(kept) > self._beam:
            kept.sort(key=lambda item: -(item[1] + item[2]))
            del kept[self._beam :]
        return {prefix: (b, w) for prefix, b, w in kept}

    def _ended(
        self, beam: dict[_Prefix, tuple[float, float]], scale: float, most: int
    ) -> tuple[Meant, ...]:
        sums: dict[Emits, float] = {}
        likeliest: dict[Emits, tuple[float, tuple[str, ...]]] = {}
        for prefix, (b, w) in beam.items():
            total = b + w
            ends = {emits for state, emits in prefix.places if state in self._automaton.finals}
            for emits in ends:
                sums[emits] = sums.get(emits, 0.0) + total
                if total > likeliest.get(emits, (0.0, ()))[0]:
                    likeliest[emits] = (total, prefix.words)
        ranked = sorted(sums.items(), key=lambda item: -item[1])[:most]
        return tuple(
            Meant(likeliest[emits][1], emits, math.log(total) + scale)
            for emits, total in ranked
            if total > 0.0
        )


def free_words(log_probs: LogProbs, words: tuple[str, ...]) -> tuple[str, ...]:
    """What the head alone hears, no grammar: the likeliest word of each frame, repeats joined."""
    best = log_probs.argmax(axis=1)
    kept = [at for at, before in zip(best, [BLANK, *best[:-1]], strict=True) if at != before]
    return tuple(words[at] for at in kept if at != BLANK)
