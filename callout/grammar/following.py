"""The paths that words take through an automaton, and what is emitted on them.

First the states are followed, then only paths that lead to a wanted state are told: most ways on
from any word end nowhere.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from callout.grammar.automaton import Automaton, Emits, Step
from callout.grammar.words import Heard

Reached = dict[int, set[Emits]]

_MOST_KEPT = 2000
"""Steps kept by an automaton, of a few kB each: a day of callouts has some hundred."""
_NOWHERE: Step = (frozenset(), ())


def steps_of(automaton: Automaton, heard: Sequence[Heard]) -> list[Step]:
    """What each of the words does: the states after it, and the arcs that lead there."""
    states, steps = frozenset({automaton.start}), []
    for token in heard:
        step = automaton.steps.get((states, token.word)) or _step(automaton, states, token.word)
        steps.append(step)
        states = step[0]
    return steps


def _step(automaton: Automaton, states: frozenset[int], word: str) -> Step:
    arcs = [
        (state, emits, target)
        for state in states
        for _, emits, target in automaton.leaving[state].get(word, ())
    ]
    if (between := automaton.anywhere.get(word)) is not None:
        arcs += [(state, (between,), state) for state in states]
    if not arcs:
        return _NOWHERE
    if len(automaton.steps) >= _MOST_KEPT:
        automaton.steps.clear()
    step = (frozenset(target for _, _, target in arcs), tuple(arcs))
    return automaton.steps.setdefault((states, word), step)


def emitted(
    automaton: Automaton, heard: Sequence[Heard], steps: Sequence[Step], wanted: Collection[int]
) -> Reached:
    """By wanted state what is emitted on every path there; ``steps`` are those of the words."""
    ways: list[list[tuple[int, Emits, int]]] = []
    for _, leading in reversed(steps):
        ways.append([arc for arc in leading if arc[2] in wanted])
        wanted = {source for source, _, _ in ways[-1]}
    there: Reached = {automaton.start: {()}}
    for token, arcs in zip(heard, reversed(ways), strict=True):
        following: Reached = {}
        for source, emits, target in arcs:
            if "$" in emits:
                emits = tuple(token.text if emit == "$" else emit for emit in emits)
            said = there[source]
            landed = following.setdefault(target, set())
            landed.update([old + emits for old in said] if emits else said)
        there = following
    return there


def endings(automaton: Automaton, heard: Sequence[Heard], steps: Sequence[Step]) -> set[Emits]:
    """What the words emit, by every path to where an utterance may end."""
    at_ends = emitted(automaton, heard, steps, automaton.finals)
    return {said for state in automaton.finals & at_ends.keys() for said in at_ends[state]}


def reached(automaton: Automaton, heard: Sequence[Heard]) -> Reached:
    """The states that all the words lead to, with what was emitted on every path there."""
    steps = steps_of(automaton, heard)
    return emitted(automaton, heard, steps, steps[-1][0] if steps else {automaton.start})
