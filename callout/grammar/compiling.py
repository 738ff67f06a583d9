"""Compiles the rules of a JSGF grammar to an automaton; nothing is narrowed here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from collections.abc import Sequence as Ordered

from callout.core.errors import OperatorError
from callout.grammar.automaton import Automaton, Emits, Way, tidied
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


def compile_grammar(
    grammar: Grammar, root: str, filled: Mapping[str, Expansion] | None = None
) -> Automaton:
    """The automaton of rule ``root``.

    ``filled`` replaces rules by name (a survey's species, say). Raises OperatorError for a rule
    that is missing or that refers to itself.
    """
    compiler = _Compiler({**grammar.rules, **(filled or {})})
    return _without_empty_arcs(compiler.ways, compiler.before(RuleRef(root), _END, ()))


# A word or none, the tags at that point, and the next place.
_Way = tuple[str | None, Emits, int]
_END = 0


class _Compiler:
    """Compiles a grammar from its end to its start.

    Each part of a rule is compiled knowing the place that follows it. Places with equal
    continuations share one number, and a rule that stands before the same place again is not
    compiled again, so the number of places stays near what the automaton needs.
    """

    def __init__(self, rules: Mapping[str, Expansion]) -> None:
        self._rules = rules
        self.ways: list[tuple[_Way, ...]] = [()]
        self._numbers: dict[tuple[_Way, ...], int] = {}
        self._known: dict[tuple[str, int], int] = {}

    def before(self, part: Expansion, after: int, inside: tuple[str, ...]) -> int:
        """The place before ``part``, which leads to ``after``; ``inside``: rules being expanded."""
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


class _Reached(dict[int, dict[Emits, frozenset[int]]]):
    """By place, and by the tags on the way: the places with words (or the end) it leads to."""

    def __init__(self, ways: Ordered[tuple[_Way, ...]]) -> None:
        super().__init__()
        self._ways = ways

    def __missing__(self, place: int) -> dict[Emits, frozenset[int]]:
        found: dict[Emits, set[int]] = {}
        if place == _END or any(word is not None for word, _, _ in self._ways[place]):
            found[()] = {place}
        for word, emits, target in self._ways[place]:
            if word is None:
                for more, places in self[target].items():
                    found.setdefault(emits + more, set()).update(places)
        self[place] = reached = {emits: frozenset(places) for emits, places in found.items()}
        return reached


def _without_empty_arcs(ways: Ordered[tuple[_Way, ...]], start: int) -> Automaton:
    """Attach to each word the tags that follow it, and to the first word those before it too.

    Places reached by the same word and tags become one state.
    """
    reached = _Reached(ways)
    numbers: dict[frozenset[int], int] = {}
    arcs: dict[int, tuple[Way, ...]] = {}

    def onward(places: frozenset[int], before: Emits) -> Iterator[Way]:
        for word, _, target in dict.fromkeys(way for place in places for way in ways[place]):
            if word is not None:
                for emits, landing in reached[target].items():
                    yield word, before + emits, numbers.setdefault(landing, len(numbers))

    first = -1
    arcs[first] = tuple(
        arc for emits, places in reached[start].items() for arc in onward(places, emits)
    )
    done = 0
    while done < len(numbers):
        for places, number in list(numbers.items())[done:]:
            arcs[number] = tuple(onward(places, ()))
            done += 1
    finals = {number for places, number in numbers.items() if _END in places}
    return tidied(arcs, first, finals)
