"""Finite automata over words, whose arcs carry what the words mean.

A JSGF grammar without recursion is regular, so it becomes one automaton that both the recogniser
(its words) and the parser (its emitted tokens) use: the two cannot drift apart. ``narrowed`` cuts
an automaton down to what a watcher of the emitted tokens allows, e.g. the tags of one plot.
No roster, number or recogniser is known here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple, Protocol

from callout.core.errors import OperatorError
from callout.grammar.jsgf import (
    NULL,
    VOID,
    Choice,
    Expansion,
    Grammar,
    RuleRef,
    Sequence,
    Tag,
    Token,
)

Emits = tuple[str, ...]


class Arc(NamedTuple):
    """One word that may come next, the tokens it (and tags around it) emit, and where it leads."""

    word: str
    emits: Emits
    target: int


@dataclass(frozen=True)
class Automaton:
    """Without empty arcs and loops: ``arcs[state]`` lead on, in ``finals`` an utterance may end."""

    start: int
    finals: frozenset[int]
    arcs: tuple[tuple[Arc, ...], ...]

    @cached_property
    def words(self) -> frozenset[str]:
        """Every word on any arc."""
        return frozenset(arc.word for arcs in self.arcs for arc in arcs)

    def arcs_by(self, state: int, word: str) -> tuple[Arc, ...]:
        """The arcs of ``state`` that ``word`` takes."""
        by_word = self._by_word.get(state)
        if by_word is None:
            by_word = self._by_word[state] = {}
            for arc in self.arcs[state]:
                by_word[arc.word] = (*by_word.get(arc.word, ()), arc)
        return by_word.get(word, ())

    @cached_property
    def _by_word(self) -> dict[int, dict[str, tuple[Arc, ...]]]:
        return {}

    def __getstate__(self) -> dict[str, Any]:
        """Without what can be worked out again, so that it is small to send."""
        return {"start": self.start, "finals": self.finals, "arcs": self.arcs}


def without_words(automaton: Automaton, words: frozenset[str]) -> Automaton:
    """``automaton`` less every way through one of ``words``."""
    kept = {
        state: tuple(arc for arc in arcs if arc.word not in words)
        for state, arcs in enumerate(automaton.arcs)
    }
    return _tidied(kept, automaton.start, set(automaton.finals))


class Watcher(Protocol):
    """Follows emitted tokens and says which are allowed; its states are hashable values."""

    def start(self) -> Hashable:
        """The state before any token."""

    def step(self, state: Hashable, token: str) -> Hashable | None:
        """The state after ``token``, or None where it is not allowed."""

    def ends(self, state: Hashable) -> bool:
        """Whether an utterance may end here."""


def compile_grammar(
    grammar: Grammar,
    root: str,
    filled: Mapping[str, Expansion] | None = None,
) -> Automaton:
    """The automaton of rule ``root``.

    ``filled`` replaces rules by name (a survey's species, say). Raises OperatorError for a rule
    that is missing or that refers to itself.
    """
    compiler = _Compiler({**grammar.rules, **(filled or {})})
    return _without_empty_arcs(compiler.ways, compiler.before(RuleRef(root), _END, ()))


# A word or none, the tags that stand there, and the place that this leads to.
_Way = tuple[str | None, Emits, int]
_END = 0


class _Compiler:
    """Compiles a grammar from its end to its start.

    Each part of a rule is compiled knowing the place that follows it. Places whose ways on are
    equal share one number, and a rule that stands before the same place again is not compiled
    again; so the number of places stays near what the automaton needs.
    """

    def __init__(self, rules: Mapping[str, Expansion]) -> None:
        self._rules = rules
        self.ways: list[tuple[_Way, ...]] = [()]
        self._numbers: dict[tuple[_Way, ...], int] = {}
        self._known: dict[tuple[str, int], int] = {}

    def before(self, part: Expansion, after: int, inside: tuple[str, ...]) -> int:
        """The place before ``part``, which leads to ``after``; ``inside`` are the open rules."""
        if isinstance(part, Token):
            return self._place((part.word, (), after))
        if isinstance(part, Tag):
            return self._place((None, tuple(part.text.split()), after))
        if isinstance(part, Choice):
            return self._place(
                *((None, (), self.before(option, after, inside)) for option in part.options)
            )
        if isinstance(part, Sequence):
            for piece in reversed(part.parts):
                after = self.before(piece, after, inside)
            return after
        if isinstance(part, RuleRef):
            return self._before_rule(part.name, after, inside)
        if part.part == VOID:
            return self._place() if part.at_least_once else after
        if part.part == NULL:
            return after
        raise OperatorError("grammar: '*' and '+' make callouts without end; write [a] [a]")

    def _before_rule(self, name: str, after: int, inside: tuple[str, ...]) -> int:
        if name in inside:
            raise OperatorError(f"grammar: rule <{name}> refers to itself")
        if name not in self._rules:
            raise OperatorError(f"grammar: rule <{name}> is not defined")
        key = (name, after)
        if key not in self._known:
            self._known[key] = self.before(self._rules[name], after, (*inside, name))
        return self._known[key]

    def _place(self, *ways: _Way) -> int:
        if len(ways) == 1 and ways[0][:2] == (None, ()):
            return ways[0][2]
        if ways not in self._numbers:
            self._numbers[ways] = len(self.ways)
            self.ways.append(ways)
        return self._numbers[ways]


def _without_empty_arcs(ways: Ordered[tuple[_Way, ...]], start: int) -> Automaton:
    """Give each word the tags that follow it, and the first word those before it too.

    Places that one word and the same tags lead to become one state.
    """
    reached: dict[int, dict[Emits, frozenset[int]]] = {}

    def reach(place: int) -> dict[Emits, frozenset[int]]:
        """The places with words, or the end, by the tags on the way there."""
        if place not in reached:
            found: dict[Emits, set[int]] = {}
            if place == _END or any(word is not None for word, _, _ in ways[place]):
                found[()] = {place}
            for word, emits, target in ways[place]:
                if word is None:
                    for more, places in reach(target).items():
                        found.setdefault(emits + more, set()).update(places)
            reached[place] = {emits: frozenset(places) for emits, places in found.items()}
        return reached[place]

    numbers: dict[frozenset[int], int] = {}
    arcs: dict[int, tuple[Arc, ...]] = {}

    def onward(places: frozenset[int], before: Emits) -> Iterator[Arc]:
        for word, _, target in dict.fromkeys(way for place in places for way in ways[place]):
            if word is not None:
                for emits, landing in reach(target).items():
                    yield Arc(word, before + emits, numbers.setdefault(landing, len(numbers)))

    first = -1
    arcs[first] = tuple(
        arc for emits, places in reach(start).items() for arc in onward(places, emits)
    )
    done = 0
    while done < len(numbers):
        for places, number in list(numbers.items())[done:]:
            arcs[number] = tuple(onward(places, ()))
            done += 1
    finals = {number for places, number in numbers.items() if _END in places}
    return _tidied(arcs, first, finals)


def narrowed(automaton: Automaton, watcher: Watcher) -> Automaton:
    """The part of ``automaton`` whose emitted tokens ``watcher`` allows."""
    start = (automaton.start, watcher.start())
    arcs: dict[Hashable, tuple[Arc, ...]] = {}
    numbers: dict[Hashable, int] = {start: 0}
    finals: set[int] = set()
    memo: dict[tuple[Hashable, Emits], Hashable | None] = {}
    todo: list[tuple[int, Hashable]] = [start]
    while todo:
        state, watched = todo.pop()
        here = numbers[(state, watched)]
        if here in arcs:
            continue
        if state in automaton.finals and watcher.ends(watched):
            finals.add(here)
        ways = []
        for arc in automaton.arcs[state]:
            key = (watched, arc.emits)
            if key not in memo:
                memo[key] = _follow(watcher, watched, arc.emits)
            after = memo[key]
            if after is None:
                continue
            there = (arc.target, after)
            if there not in numbers:
                numbers[there] = len(numbers)
                todo.append(there)
            ways.append(Arc(arc.word, arc.emits, numbers[there]))
        arcs[here] = tuple(ways)
    return _tidied(arcs, 0, finals)  # type: ignore[arg-type]


def _follow(watcher: Watcher, state: Hashable, emits: Emits) -> Hashable | None:
    for token in emits:
        following = watcher.step(state, token)
        if following is None:
            return None
        state = following
    return state


def _tidied(arcs: Mapping[int, tuple[Arc, ...]], start: int, finals: set[int]) -> Automaton:
    """Drop states that cannot end, and join states that go on alike."""
    useful = _can_end(arcs, finals)
    merged: dict[tuple[bool, frozenset[tuple[str, Emits, int]]], int] = {}
    numbers: dict[int, int] = {}
    table: list[tuple[Arc, ...]] = []
    for state in _deepest_first(arcs, start):
        if state not in useful and state != start:
            continue
        ways = frozenset(
            (arc.word, arc.emits, numbers[arc.target])
            for arc in arcs[state]
            if arc.target in numbers
        )
        key = (state in finals, ways)
        if key not in merged:
            merged[key] = len(table)
            table.append(tuple(Arc(*way) for way in sorted(ways)))
        numbers[state] = merged[key]
    ends = frozenset(numbers[state] for state in finals if state in numbers)
    return Automaton(numbers[start], ends, tuple(table))


def _can_end(arcs: Mapping[int, tuple[Arc, ...]], finals: set[int]) -> set[int]:
    before: dict[int, list[int]] = {}
    for state, ways in arcs.items():
        for arc in ways:
            before.setdefault(arc.target, []).append(state)
    useful, todo = set(finals), list(finals)
    while todo:
        for state in before.get(todo.pop(), ()):
            if state not in useful:
                useful.add(state)
                todo.append(state)
    return useful


def _deepest_first(arcs: Mapping[int, tuple[Arc, ...]], start: int) -> list[int]:
    """States in an order where every arc's target comes before its source."""
    order: list[int] = []
    done: set[int] = set()
    stack: list[tuple[int, int]] = [(start, 0)]
    while stack:
        state, at = stack.pop()
        if at == 0 and state in done:
            continue
        ways = arcs[state]
        while at < len(ways) and ways[at].target in done:
            at += 1
        if at < len(ways):
            stack.append((state, at))
            stack.append((ways[at].target, 0))
            continue
        done.add(state)
        order.append(state)
    return order
