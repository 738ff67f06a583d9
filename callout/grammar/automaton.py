"""Finite automata over words, whose arcs carry what the words mean.

A JSGF grammar without recursion is regular, so it becomes one automaton that both the recogniser
(its words) and the parser (its emitted tokens) use: the two cannot drift apart. ``narrowed`` cuts
an automaton down to what a watcher of the emitted tokens allows, e.g. the tags of one plot.
No roster, number or recogniser is known here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from callout.core.errors import OperatorError
from callout.grammar.jsgf import Choice, Expansion, Grammar, Repeat, RuleRef, Sequence, Tag, Token

Emits = tuple[str, ...]


class Arc(NamedTuple):
    """One word that may come next, the tokens it (and tags around it) emit, and where it leads."""

    word: str
    emits: Emits
    target: int


@dataclass(frozen=True)
class Automaton:
    """Free of empty arcs; ``arcs[state]`` are the ways on, ``finals`` the states to end in."""

    start: int
    finals: frozenset[int]
    arcs: tuple[tuple[Arc, ...], ...]

    @property
    def words(self) -> frozenset[str]:
        """Every word on any arc."""
        return frozenset(arc.word for arcs in self.arcs for arc in arcs)


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
    builder = _Builder(grammar, dict(filled or {}))
    start, end = builder.state(), builder.state()
    builder.add(RuleRef(root), start, end, ())
    return _without_empty_arcs(builder, start, end)


class _Builder:
    """Thompson's construction: every expansion becomes arcs between two states."""

    def __init__(self, grammar: Grammar, filled: dict[str, Expansion]) -> None:
        self._rules = {**grammar.rules, **filled}
        self.edges: list[list[tuple[str | None, Emits, int]]] = []

    def state(self) -> int:
        self.edges.append([])
        return len(self.edges) - 1

    def add(self, part: Expansion, source: int, target: int, inside: tuple[str, ...]) -> None:
        if isinstance(part, Token):
            self.edges[source].append((part.word, (), target))
        elif isinstance(part, Tag):
            self.edges[source].append((None, tuple(part.text.split()), target))
        elif isinstance(part, Choice):
            for option in part.options:
                self.add(option, source, target, inside)
        elif isinstance(part, Sequence):
            for piece in part.parts:
                following = self.state()
                self.add(piece, source, following, inside)
                source = following
            self.edges[source].append((None, (), target))
        elif isinstance(part, Repeat):
            self._add_repeat(part, source, target, inside)
        else:
            self._add_rule(part, source, target, inside)

    def _add_repeat(self, part: Repeat, source: int, target: int, inside: tuple[str, ...]) -> None:
        first, last = self.state(), self.state()
        self.edges[source].append((None, (), first))
        self.add(part.part, first, last, inside)
        self.edges[last].append((None, (), first))
        self.edges[last].append((None, (), target))
        if not part.at_least_once:
            self.edges[source].append((None, (), target))

    def _add_rule(self, part: RuleRef, source: int, target: int, inside: tuple[str, ...]) -> None:
        if part.name in inside:
            raise OperatorError(f"grammar: rule <{part.name}> refers to itself")
        if part.name not in self._rules:
            raise OperatorError(f"grammar: rule <{part.name}> is not defined")
        self.add(self._rules[part.name], source, target, (*inside, part.name))


def _without_empty_arcs(builder: _Builder, start: int, end: int) -> Automaton:
    """Fold empty arcs into the words around them, their tags with them."""
    closures: dict[int, tuple[tuple[Emits, int], ...]] = {}

    def closure(state: int) -> tuple[tuple[Emits, int], ...]:
        if state not in closures:
            closures[state] = tuple(_reach(builder, state, end))
        return closures[state]

    def onward(state: int, before: Emits) -> Iterable[Arc]:
        for word, emits, target in builder.edges[state]:
            if word is not None:
                for more, landing in closure(target):
                    yield Arc(word, before + emits + more, landing)

    first = tuple(arc for emits, state in closure(start) for arc in onward(state, emits))
    arcs: dict[int, tuple[Arc, ...]] = {-1: tuple(dict.fromkeys(first))}
    todo = [arc.target for arc in first]
    while todo:
        state = todo.pop()
        if state not in arcs:
            arcs[state] = tuple(dict.fromkeys(onward(state, ())))
            todo.extend(arc.target for arc in arcs[state])
    return _tidied(arcs, -1, {end})


def _reach(builder: _Builder, state: int, end: int) -> Iterable[tuple[Emits, int]]:
    """States reached from ``state`` by empty arcs that hold words or the end."""
    seen: set[tuple[Emits, int]] = set()
    todo: list[tuple[Emits, int]] = [((), state)]
    while todo:
        emits, at = todo.pop()
        if (emits, at) in seen:
            continue
        seen.add((emits, at))
        if at == end or any(word is not None for word, _, _ in builder.edges[at]):
            yield emits, at
        todo.extend(
            (emits + more, target) for word, more, target in builder.edges[at] if word is None
        )


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
    """States in an order where every arc's target comes before its source.

    Raises OperatorError on a loop: callouts are bounded, so that every search over them is.
    """
    order: list[int] = []
    done: set[int] = set()
    open_: set[int] = set()
    stack: list[tuple[int, int]] = [(start, 0)]
    while stack:
        state, at = stack.pop()
        if at == 0:
            if state in done:
                continue
            open_.add(state)
        ways = arcs[state]
        while at < len(ways) and ways[at].target in done:
            at += 1
        if at < len(ways):
            if ways[at].target in open_:
                raise OperatorError("grammar: '*' and '+' make callouts without end; write [a] [a]")
            stack.append((state, at))
            stack.append((ways[at].target, 0))
            continue
        open_.discard(state)
        done.add(state)
        order.append(state)
    return order
