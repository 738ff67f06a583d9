"""Compiles the rules of a JSGF grammar to an automaton; nothing is narrowed here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from collections.abc import Sequence as Ordered

from callout.core.errors import OperatorError
from callout.grammar.automaton import Automaton, Emits, Table, Way
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
    start = compiler.before(RuleRef(root), _END, ())
    return _Joining(compiler.ways).automaton(start)


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
        ways = self._ways[place]
        self[place] = reached = self._by_one(place, *ways[0]) if len(ways) == 1 else self._by(place)
        return reached

    def _by_one(
        self, place: int, word: str | None, emits: Emits, target: int
    ) -> dict[Emits, frozenset[int]]:
        """As most places have a single way, their sets are those of the next one."""
        if word is not None:
            return {(): frozenset((place,))}
        return {emits + more: places for more, places in self[target].items()}

    def _by(self, place: int) -> dict[Emits, frozenset[int]]:
        found: dict[Emits, set[int]] = {}
        if place == _END or any(word is not None for word, _, _ in self._ways[place]):
            found[()] = {place}
        for word, emits, target in self._ways[place]:
            if word is None:
                for more, places in self[target].items():
                    found.setdefault(emits + more, set()).update(places)
        return {emits: frozenset(places) for emits, places in found.items()}


class _Joining:
    """Gives each word the tags that follow it, and the first word those before it too.

    Places reached by the same word and tags become one state.
    """

    def __init__(self, ways: Ordered[tuple[_Way, ...]]) -> None:
        self._ways, self._reached, self._table = ways, _Reached(ways), Table()
        self._states: dict[frozenset[int], int | None] = {}
        self._after: dict[int, list[tuple[Emits, int]]] = {}

    def automaton(self, start: int) -> Automaton:
        """All that can be said from the place ``start`` on; nothing is said by saying nothing."""
        ways = {
            (word, before + emits, state)
            for before, places in self._reached[start].items()
            for word, emits, state in self._onward(places)
        }
        return self._table.automaton(self._table.number(False, ways))

    def _onward(self, places: frozenset[int]) -> Iterator[Way]:
        for place in places:
            for word, _, target in self._ways[place]:
                if word is not None:
                    after = self._after.get(target)
                    if after is None:
                        after = self._after[target] = self._states_at(target)
                    for emits, state in after:
                        yield word, emits, state

    def _states_at(self, place: int) -> list[tuple[Emits, int]]:
        """The states that a word may lead to which ends at ``place``."""
        found = ((emits, self._state(places)) for emits, places in self._reached[place].items())
        return [(emits, state) for emits, state in found if state is not None]

    def _state(self, places: frozenset[int]) -> int | None:
        """The number of the state; None if no callout can end from there."""
        if places not in self._states:
            ways, final = frozenset(self._onward(places)), _END in places
            self._states[places] = self._table.number_if_ends(final, ways)
        return self._states[places]
