"""Callouts with words that the head over words never learnt: a survey's species.

A second small head, over phones, hears the same frames, and a search over phones proposes callouts
that hold such words. What they are together, "shagbark hickory", is called a name here. How sure
that is, is decided in ``name_listener``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice, pairwise, product

import numpy as np

from callout.grammar.automaton import Automaton, Way
from callout.speech.closed.ctc import log_likelihoods
from callout.speech.closed.decode import Decoder
from callout.speech.closed.head import LogProbs
from callout.speech.closed.names.pronounce import SIGNS, Pronouncer, Spelling
from callout.speech.timed import aligned

_INDEX = {sign: at for at, sign in enumerate(SIGNS)}
_OPENS = "@species"
# A name is many phones long, so more must be kept of what seems unlikely at first.
_BEAM, _WORST, _LEAST = 100, 1e-13, 1e-7
_MOST_SPELLINGS = 8
_EDGE = 2
Words = tuple[str, ...]


@dataclass(frozen=True)
class Proposed:
    """A callout's words, where in them the name stands, and the natural log of how likely it is."""

    words: Words
    name: slice
    score: float

    @property
    def named(self) -> Words:
        """The name's words."""
        return self.words[self.name]

    def with_name(self, name: Words) -> Words:
        """The words with another name."""
        return (*self.words[: self.name.start], *name, *self.words[self.name.stop :])


class NameSearch:
    """The part of an automaton that holds ``lacking`` words, made ready for phones."""

    def __init__(self, part: Automaton, pronouncer: Pronouncer) -> None:
        """``part`` is what ``with_words`` left of an automaton."""
        self.part, self._pronouncer = part, pronouncer
        pronouncer.learn(part.words)
        self.names = names_of(part)
        self._decoder = _decoder(part, pronouncer)

    def proposed(self, phones: LogProbs, most: int) -> tuple[Proposed, ...]:
        """The likeliest callouts of (T, phones) log probabilities, best first."""
        found = self._decoder.meanings(phones, most)
        return tuple(Proposed(one.emits, self._inside(one.emits), one.score) for one in found)

    def _inside(self, words: Words) -> slice:
        """Where the name stands: the longest, so that "cucumber tree" is no tree."""
        for length in range(len(words), 0, -1):
            for at in range(len(words) - length + 1):
                if words[at : at + length] in self.names:
                    return slice(at, at + length)
        return slice(len(words), len(words))


def place(phones: LogProbs, one: Proposed, pronouncer: Pronouncer) -> LogProbs:
    """The part of (T, phones) log probabilities that says the name, and its very surroundings."""
    spelt = [pronouncer.of(word)[0] for word in one.words]
    before = sum(map(len, spelt[: one.name.start]))
    until = before + sum(map(len, spelt[one.name]))
    spans = aligned(phones, [sign for word in spelt for sign in word])
    if not spans:
        return phones
    return phones[max(0, spans[before][0] - _EDGE) : spans[until - 1][1] + _EDGE]


def likelihood(phones: LogProbs, words: Words, pronouncer: Pronouncer) -> float:
    """The natural log of how likely ``words`` are in (T, phones), however they are spelt."""
    chain = (*(((word, (), at + 1),) for at, word in enumerate(words)), ())
    automaton = Automaton(0, frozenset({len(words)}), chain)
    found = _decoder(automaton, pronouncer).meanings(phones, 1)
    return found[0].score if found else -np.inf


def likelihoods(phones: LogProbs, names: Sequence[Sequence[Spelling]]) -> list[float]:
    """How likely each name, spelt in several ways, is in (T, phones): natural log of the best."""
    flat = [(at, spelling) for at, ways in enumerate(names) for spelling in ways]
    best = [-np.inf] * len(names)
    scores = log_likelihoods(phones, [spelling for _, spelling in flat])
    for (at, _), score in zip(flat, scores, strict=True):
        best[at] = max(best[at], float(score))
    return best


def spellings(pronouncer: Pronouncer, name: Iterable[str]) -> tuple[Spelling, ...]:
    """The ways in which a name of several words is said; none if a word of it cannot be."""
    ways = islice(product(*(pronouncer.of(word) for word in name)), _MOST_SPELLINGS)
    return tuple(tuple(sign for part in way for sign in part) for way in ways)


def with_words(automaton: Automaton, words: Collection[str]) -> Automaton:
    """The paths of ``automaton`` that hold one of ``words``."""

    @cache
    def leads(state: int) -> bool:
        return any(word in words or leads(target) for word, _, target in automaton.ways[state])

    begin = (automaton.start, False)
    numbers, todo = {begin: 0}, [begin]
    kept, finals = list[tuple[Way, ...]](), set[int]()
    for state, held in todo:
        if held and state in automaton.finals:
            finals.add(len(kept))
        ways = []
        for word, emits, target in automaton.ways[state]:
            after = (target, held or word in words)
            if not after[1] and not leads(target):
                continue
            if after not in numbers:
                numbers[after] = len(numbers)
                todo.append(after)
            ways.append((word, emits, numbers[after]))
        kept.append(tuple(ways))
    return Automaton(0, frozenset(finals), tuple(kept))


def names_of(automaton: Automaton) -> frozenset[Words]:
    """Every name that may be said: what comes after the token that announces one."""
    begins = {to for ways in automaton.ways for _, emits, to in ways if emits[-1:] == (_OPENS,)}
    return frozenset(name for state in begins for name in _names_from(automaton, state))


def _names_from(automaton: Automaton, state: int, said: Words = ()) -> Iterator[Words]:
    """The names that go on from ``state``: the last word of each emits it."""
    for word, emits, target in automaton.ways[state]:
        if emits:
            yield (*said, word)
        else:
            yield from _names_from(automaton, target, (*said, word))


def _decoder(automaton: Automaton, pronouncer: Pronouncer) -> Decoder:
    return Decoder(in_phones(automaton, pronouncer), _INDEX, _BEAM, _WORST, _LEAST)


def in_phones(automaton: Automaton, pronouncer: Pronouncer) -> Automaton:
    """``automaton`` with each word spelt in phones; it emits the words."""
    made: list[list[Way]] = [[] for _ in automaton.ways]
    for state, ways in enumerate(automaton.ways):
        for word, target in dict.fromkeys((word, target) for word, _, target in ways):
            for spelt in pronouncer.of(word):
                inner = range(len(made), len(made) + len(spelt) - 1)
                made.extend([] for _ in inner)
                for sign, (at, to) in zip(spelt, pairwise((state, *inner, target)), strict=True):
                    made[at].append((SIGNS[sign], (word,) if to == target else (), to))
    return Automaton(automaton.start, automaton.finals, tuple(map(tuple, made)))
