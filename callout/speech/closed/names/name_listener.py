"""Whether a callout with a name was heard, and how surely; a name that nobody listed is noticed.

The head over phones proposes, Whisper's decoder weighs the whole strings, the head over words may
object to what stands around the name. What was said without a name is weighed with them. Names
that are no species of the survey are weighed too: where one of them is likelier, or no name fits,
the person is asked. Everything is in nats; the limits and what came of them: docs/hearing.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from callout.grammar.automaton import Automaton
from callout.speech.closed.ctc import prefix_scores
from callout.speech.closed.decode import Meant
from callout.speech.closed.encoder import Frames
from callout.speech.closed.head import Head, LogProbs
from callout.speech.closed.names.name_search import (
    NameSearch,
    Proposed,
    Words,
    likelihood,
    likelihoods,
    place,
    spellings,
    with_words,
)
from callout.speech.closed.names.pronounce import Pronouncer, Spelling
from callout.speech.closed.second import SecondListener
from callout.speech.closed.surety import Choice
from callout.speech.odds import logistic

PHONES = Path(__file__).with_name("phones.npz")
UNLISTED = Choice(Meant((), ("@species",), 0.0), None, 0.0)
"""A new tree was called, with a name that is not listed, or that was not understood."""
_OPENING = ("new",)
# The head over words may take a tree that comes at once after "new" for a three.
_TREE = ("tree", "three", "tag", "number")
_PROPOSED, _STRANGERS = 10, 3


@dataclass(frozen=True)
class Limits:
    """Up to which doubt a name is taken, in nats.

    ``gap``: how much likelier the phones without any word are. ``both``: that and three times the
    decoder's doubt a word. ``lead``: how far the best stands above the next. ``before``, ``after``:
    how much likelier the head over words hears something else there. ``strange``: how far above
    names that are not listed. ``bare``: the gap up to which no name was said.
    """

    gap: float = 11.0
    both: float = 17.0
    lead: float = 2.5
    before: float = 5.5
    after: float = 3.0
    strange: float = 2.0
    bare: float = 3.0
    nameless: float = 7.0


@dataclass(frozen=True)
class Heard:
    """A callout as all three heard it; nats, doubts being positive."""

    what: Proposed
    gap: float
    decoder: float
    before: float
    after: float

    @property
    def total(self) -> float:
        """How likely, by all three."""
        return self.decoder - self.gap - self.before - self.after


class NameListener:
    """Hears names for an engine whose head knows none."""

    def __init__(
        self,
        pronouncer: Pronouncer,
        strangers: Iterable[str] = (),
        limits: Limits | None = None,
        source: Path = PHONES,
    ) -> None:
        """``strangers`` are names that may be said though the survey lacks them.

        Raises DeviceError if the head over phones cannot be read.
        """
        self._head, self._pronouncer = Head(source), pronouncer
        self._told = tuple(tuple(name.lower().replace("-", " ").split()) for name in strangers)
        self._limits = limits or Limits()
        self._part: Automaton | None = None
        self._search: NameSearch | None = None

    def prepare(self, spoken: Automaton, index: Mapping[str, int]) -> None:
        """Listen for the callouts that hold words which ``index``, a head's, lacks."""
        self._index = index
        lacking = spoken.words - index.keys()
        part = with_words(spoken, lacking) if lacking else None
        if self._search is None or part != self._search.part:
            self._part, self._search = part, None

    def unsayable(self, words: Iterable[str]) -> frozenset[str]:
        """Those of ``words`` whose sounds nobody can tell."""
        wanted = frozenset(words)
        self._pronouncer.learn(wanted)
        return frozenset(word for word in wanted if not self._pronouncer.of(word))

    def may_be(self, heard: Sequence[str]) -> bool:
        """Whether what the head over words heard, with no grammar, may go on to a name."""
        opens = tuple(heard[:1]) == _OPENING and any(word in _TREE for word in heard[1:2])
        return self._part is not None and opens

    def choice(
        self, frames: Frames, words: LogProbs, second: SecondListener, plain: Choice | None
    ) -> Choice | None:
        """The callout with a name, or ``plain``, what was heard without one; or ``UNLISTED``.

        ``words`` are the log probabilities of the head over words for ``frames``.
        """
        phones = self._head.log_probs(frames)
        found = list(self._ready().proposed(phones, _PROPOSED))
        if plain is not None:
            said = plain.best.words
            score = likelihood(phones, said, self._pronouncer)
            found.append(Proposed(said, slice(len(said), len(said)), score))
        heard = self._weighed(found, frames, phones, words, second)
        if not heard:
            return UNLISTED
        best = heard[0]
        if not best.what.named:
            return self._bare(plain, best.gap)
        choice = self._decided(heard)
        if choice is UNLISTED or self._strange(best, frames, phones, second) < self._limits.strange:
            return UNLISTED
        return choice

    def _bare(self, plain: Choice | None, gap: float) -> Choice | None:
        """What was heard without a name, asked about if one may have been said."""
        if plain is None or gap <= self._limits.bare:
            return plain
        if gap > self._limits.nameless:
            return UNLISTED
        over = self._limits.bare - gap
        return replace(plain, confidence=min(plain.confidence, logistic(over)), likely=False)

    def _decided(self, heard: Sequence[Heard]) -> Choice:
        """Whether the likeliest is taken, strangers apart."""
        best, limits = heard[0], self._limits
        a_word = -best.decoder / (len(best.what.words) + 1)
        over = min(limits.gap - best.gap, limits.both - best.gap - 3 * a_word)
        if over < 0:
            return UNLISTED
        rival = next((one for one in heard if one.what.words != best.what.words), None)
        other = None
        if rival is not None:
            over = min(over, best.total - rival.total - limits.lead)
            other = Meant(rival.what.words, (), rival.what.score)
        over = min(over, limits.before - best.before, limits.after - best.after)
        return Choice(Meant(best.what.words, (), best.what.score), other, logistic(over))

    def _ready(self) -> NameSearch:
        """The search, made when a callout first needs it."""
        if self._search is None:
            assert self._part is not None
            self._search = NameSearch(self._part, self._pronouncer)
        return self._search

    def _weighed(
        self,
        found: Sequence[Proposed],
        frames: Frames,
        phones: LogProbs,
        words: LogProbs,
        second: SecondListener,
    ) -> list[Heard]:
        """All of ``found``, the likeliest by all three first."""
        free = float(phones.max(axis=1).sum())
        decoded = second.likelihoods(frames, [one.words for one in found])
        weighed = [
            Heard(one, free - one.score, told, *self._objections(words, one))
            for one, told in zip(found, decoded, strict=True)
        ]
        return sorted(weighed, key=lambda one: -one.total)

    def _objections(self, words: LogProbs, one: Proposed) -> tuple[float, float]:
        """By how much the head over words hears something else before the name, and after it."""
        known = self._index
        before = [known[word] for word in one.words[: one.name.start] if word in known]
        after = [known[word] for word in one.words[one.name.stop :] if word in known]
        return _objection(words, before), _objection(words[::-1], after[::-1])

    def _strange(
        self, best: Heard, frames: Frames, phones: LogProbs, second: SecondListener
    ) -> float:
        """How far the name stands above every stranger, by phones and decoder."""
        strangers = self._strangers_to(best.what.named)
        if not strangers:
            return np.inf
        part = place(phones, best.what, self._pronouncer)
        said = spellings(self._pronouncer, best.what.named)
        own, *others = likelihoods(part, [said, *strangers.values()])
        near = sorted(zip(others, strangers, strict=True), reverse=True)[:_STRANGERS]
        decoded = second.likelihoods(frames, [best.what.with_name(name) for _, name in near])
        return min(
            own + best.decoder - score - told
            for (score, _), told in zip(near, decoded, strict=True)
        )

    def _strangers_to(self, name: Words) -> dict[Words, tuple[Spelling, ...]]:
        """Names that neither the survey has nor ``name`` holds, "pine" in "slash pine"."""
        listed, whole = {"".join(one) for one in self._ready().names}, " ".join(name)
        self._pronouncer.learn(word for one in self._told for word in one)
        told = (one for one in self._told if "".join(one) not in listed)
        others = (one for one in told if " ".join(one) not in whole)
        spelt = ((one, spellings(self._pronouncer, one)) for one in others)
        return {one: ways for one, ways in spelt if ways}


def _objection(words: LogProbs, said: Sequence[int]) -> float:
    """By how much something else is likelier than ``said`` at the beginning; 0 if nothing is."""
    if not said:
        return 0.0
    free = np.cumsum(words.max(axis=1))
    return max(0.0, float((free - prefix_scores(words, said)).min()))
