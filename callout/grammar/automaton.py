"""Finite automata over words, whose arcs carry what the words mean.

A JSGF grammar without recursion is regular, so it becomes one automaton that both the recogniser
(its words) and the parser (its emitted tokens) use: the two cannot drift apart. ``narrowed`` cuts
an automaton down to what a watcher of the emitted tokens allows, e.g. the tags of one plot.
``compiling`` turns a grammar into one. Nothing here knows of rosters, numbers or recognisers.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping
from collections.abc import Sequence as Ordered
from dataclasses import dataclass, field
from functools import cache, cached_property
from itertools import chain
from operator import itemgetter
from typing import Any, Protocol

Emits = tuple[str, ...]
Way = tuple[str, Emits, int]
"""An arc: a word that may come next, the tokens it (and adjacent tags) emit, and the next state.

A plain tuple, since many are kept and the garbage collector leaves plain ones alone.
"""
Step = tuple[frozenset[int], tuple[tuple[int, Emits, int], ...]]
"""The states after a word, and the arcs that lead there: from where, what is emitted, to where."""


class _Leaving(dict[int, Mapping[str, list[Way]]]):
    def __init__(self, ways: Ordered[Ordered[Way]]) -> None:
        super().__init__()
        self._ways = ways

    def __missing__(self, state: int) -> Mapping[str, list[Way]]:
        by_word: dict[str, list[Way]] = {}
        for way in self._ways[state]:
            by_word.setdefault(way[0], []).append(way)
        self[state] = by_word
        return by_word


@dataclass(frozen=True)
class Automaton:
    """No empty arcs, no loops: ``ways[state]`` lead on; an utterance may end in ``finals``.

    Words of ``anywhere`` may also stand between any two others, and emit a token there; recognisers
    do not listen for them.
    """

    start: int
    finals: frozenset[int]
    ways: tuple[tuple[Way, ...], ...]
    anywhere: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every word on any arc."""
        return frozenset(map(itemgetter(0), chain.from_iterable(self.ways)))

    @cached_property
    def known(self) -> frozenset[str]:
        """Every word that may be said."""
        return self.words.union(self.anywhere)

    def onward(self, state: int) -> frozenset[str]:
        """What may be emitted first by words that lead on from ``state``; empty where none do."""
        found = self._onward.get(state)
        if found is None:
            ways = (emits[:1] or self.onward(target) for _, emits, target in self.ways[state])
            found = self._onward[state] = frozenset().union(*ways)
        return found

    @cached_property
    def _onward(self) -> dict[int, frozenset[str]]:
        return {}

    @cached_property
    def leaving(self) -> Mapping[int, Mapping[str, Ordered[Way]]]:
        """By state and word the ways that lead on; made when a state is first asked for."""
        return _Leaving(self.ways)

    @cached_property
    def steps(self) -> dict[tuple[frozenset[int], str], Step]:
        """What words did to states so far; callouts mostly begin alike."""
        return {}

    def __getstate__(self) -> dict[str, Any]:
        """Leave out cached values, so that little is sent."""
        return {
            "start": self.start,
            "finals": self.finals,
            "ways": self.ways,
            "anywhere": self.anywhere,
        }


class Watcher(Protocol):
    """Follows emitted tokens and says which are allowed; its states are hashable values."""

    def start(self) -> Hashable:
        """The state before any token."""

    def step(self, state: Hashable, token: str) -> Hashable | None:
        """The state after ``token``, or None if it is not allowed."""

    def ends(self, state: Hashable) -> bool:
        """Whether an utterance may end here."""


def narrowed(automaton: Automaton, watcher: Watcher) -> Automaton:
    """The part of ``automaton`` whose emitted tokens ``watcher`` allows."""
    return _Narrowing(automaton, watcher).narrowed()


class _Narrowing:
    """The states of an automaton, each with the watcher's state there."""

    def __init__(self, automaton: Automaton, watcher: Watcher) -> None:
        self._automaton, self._watcher = automaton, watcher
        self._following, self._table = _Following(watcher), Table()
        self._grouped = [_by_emits(ways) for ways in automaton.ways]
        self._numbers: dict[tuple[int, int], int | None] = {}

    def narrowed(self) -> Automaton:
        """All of it."""
        return self._table.automaton(self._visit(self._automaton.start, 0))

    def _visit(self, state: int, watched: int) -> int | None:
        """The number of the product state; None if no utterance can end from there."""
        ways, following, numbers = set(), self._following, self._numbers
        known = following.known[watched]
        for emits, targets in self._grouped[state]:
            if emits not in known:
                following.follow(watched, emits)
            after = known[emits]
            if after is None:
                continue
            for word, target in targets:
                there = (target, after)
                if there not in numbers:
                    numbers[there] = self._visit(target, after)
                number = numbers[there]
                if number is not None:
                    ways.add((word, emits, number))
        final = state in self._automaton.finals and self._watcher.ends(following.states[watched])
        return self._table.number_if_ends(final, ways)


class _Following:
    """A watcher's states by number, and the transitions by the tokens of an arc."""

    def __init__(self, watcher: Watcher) -> None:
        self._watcher = watcher
        self.states = [watcher.start()]
        self._numbers = {self.states[0]: 0}
        self._steps: dict[tuple[Hashable, str], Hashable | None] = {}
        self.known: list[dict[Emits, int | None]] = [{}]
        """By state: tokens to the next state's number; None if they are not allowed."""

    def follow(self, watched: int, emits: Emits) -> None:
        """Compute the transition from state ``watched`` by ``emits``."""
        self.known[watched][emits] = self._follow(self.states[watched], emits)

    def _follow(self, state: Hashable, emits: Emits) -> int | None:
        for token in emits:
            step = (state, token)
            if step not in self._steps:
                self._steps[step] = self._watcher.step(state, token)
            following = self._steps[step]
            if following is None:
                return None
            state = following
        if state not in self._numbers:
            self._numbers[state] = len(self.states)
            self.states.append(state)
            self.known.append({})
        return self._numbers[state]


def _by_emits(ways: Ordered[Way]) -> list[tuple[Emits, list[tuple[str, int]]]]:
    grouped: dict[Emits, list[tuple[str, int]]] = {}
    for word, emits, target in ways:
        grouped.setdefault(emits, []).append((word, target))
    return list(grouped.items())


class Table:
    """The states of a new automaton, deepest first; equivalent states are merged."""

    def __init__(self) -> None:
        self._merged: dict[tuple[bool, frozenset[Way]], int] = {}
        self._ways: list[tuple[Way, ...]] = []
        self._finals: set[int] = set()

    def number(self, final: bool, ways: Iterable[Way]) -> int:
        """The number of the state with these outgoing arcs, whose targets are numbered already."""
        key = (final, frozenset(ways))
        if key not in self._merged:
            number = self._merged[key] = len(self._ways)
            self._ways.append(tuple(sorted(key[1])))
            if final:
                self._finals.add(number)
        return self._merged[key]

    def number_if_ends(self, final: bool, ways: Collection[Way]) -> int | None:
        """As ``number``; None if no utterance can end from there."""
        return self.number(final, ways) if final or ways else None

    def automaton(self, start: int | None) -> Automaton:
        """The states so far; where there is no ``start``, nothing can be said."""
        first = self.number(False, ()) if start is None else start
        return Automaton(first, frozenset(self._finals), tuple(self._ways))


def without_words(automaton: Automaton, words: frozenset[str]) -> Automaton:
    """``automaton`` without any path through one of ``words``."""
    table = Table()

    @cache
    def kept(state: int) -> int | None:
        ways = set[Way]()
        for word, emits, target in automaton.ways[state]:
            if word not in words and (number := kept(target)) is not None:
                ways.add((word, emits, number))
        return table.number_if_ends(state in automaton.finals, ways)

    return table.automaton(kept(automaton.start))
