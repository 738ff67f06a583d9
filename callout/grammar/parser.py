"""From words to every meaning that the grammar gives them.

All readings of the words are found, none is preferred; ``choose`` then takes one only where the
roster and the plausible sizes leave exactly one. The tree's former size is unknown here on
purpose: it may flag a reading, never choose it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from callout.core.meaning import MOST_FIGURES, Meaning, meaning_of
from callout.core.saying import Saying, Says, saying
from callout.core.told import command_told, status_told
from callout.grammar.automaton import Automaton, Emits
from callout.grammar.scope import Scope
from callout.grammar.words import Heard, tokens_of


@dataclass(frozen=True)
class Parsed:
    """The words, what they may mean, and why no single meaning can be taken (or None)."""

    words: str
    meanings: tuple[Meaning, ...]
    problem: Saying | None


def meanings_of(automaton: Automaton, heard: Sequence[Heard]) -> tuple[Meaning, ...]:
    """Every distinct meaning of the tokens, in a stable order; empty where there is none."""
    reached: dict[int, set[Emits]] = {automaton.start: {()}}
    for token in heard:
        following: dict[int, set[Emits]] = {}
        for state, said in reached.items():
            for arc in automaton.arcs_by(state, token.word):
                more = arc.emits
                if "$" in more:
                    more = tuple(token.text if emit == "$" else emit for emit in more)
                landed = following.setdefault(arc.target, set())
                landed.update([old + more for old in said] if more else said)
        reached = following
    ends = {said for state in automaton.finals for said in reached.get(state, ())}
    found = {meaning_of(said): None for said in sorted(ends)}
    return tuple(meaning for meaning in found if meaning is not None)


def parse_words(automaton: Automaton, text: str, scope: Scope) -> Parsed:
    """What ``text`` means within ``scope``. Raises OperatorError for text that is no words."""
    tokens = _split_known(tokens_of(text), automaton.words)
    meanings = meanings_of(automaton, tokens)
    if not meanings and any(token.word == "," for token in tokens):
        # A comma helps where it parts tag from size; elsewhere it must not stand in the way. A
        # hyphen must: "eighty-three inches" is no tree 80 of three inches.
        meanings = meanings_of(automaton, [item for item in tokens if item.word != ","])
    figures = max((sum(map(str.isdigit, token.text)) for token in tokens), default=0)
    if not meanings and figures > MOST_FIGURES:
        return Parsed(text, (), saying("number-of-figures", count=figures))
    return choose(text, meanings, scope)


def _split_known(tokens: Sequence[Heard], known: frozenset[str]) -> tuple[Heard, ...]:
    """Split what some languages write as one word ("팔십삼") into the words the grammar knows."""
    found: list[Heard] = []
    for token in tokens:
        whole = token.word in known or token.word in ("NUMERAL", "DECIMAL", "LABEL")
        parts = None if whole else _parts(token.word, known)
        found.extend([token] if parts is None else (Heard(part, part) for part in parts))
    return tuple(found)


def _parts(word: str, known: frozenset[str]) -> list[str] | None:
    """``word`` as known words without a rest, longer ones first; None where it cannot be."""
    ways: list[list[str] | None] = [[], *[None] * len(word)]
    for end in range(1, len(word) + 1):
        for start in range(end):
            before = ways[start]
            if before is not None and word[start:end] in known:
                ways[end] = [*before, word[start:end]]
                break
    return ways[-1]


def choose(words: str, meanings: Sequence[Meaning], scope: Scope) -> Parsed:
    """Keep the meanings that fit the plot; a problem is told unless exactly one is left."""
    if not meanings:
        return Parsed(words, (), saying("no-callout", words=repr(words)))
    fitting = tuple(meaning for meaning in meanings if scope.fits(meaning))
    if not fitting:
        if len(meanings) == 1:
            return Parsed(words, tuple(meanings), None)
        says = saying("nothing-fits", meanings=_listed(meanings))
        return Parsed(words, tuple(meanings), says)
    if len(fitting) == 1:
        return Parsed(words, fitting, None)
    return Parsed(words, fitting, saying("could-be", meanings=_listed(fitting)))


def _listed(meanings: Sequence[Meaning]) -> Says:
    first, *others = (_told(meaning) for meaning in meanings[:4])
    return (first, *(saying("or-meaning", meaning=other) for other in others))


def _told(meaning: Meaning) -> Saying:
    told = saying(
        "meant",
        tree=saying("tree", tag=meaning.tag) if meaning.tag else "",
        stem=saying("meant-stem", stem=meaning.stem) if meaning.stem else "",
        size="" if meaning.value is None else saying("meant-diameter", value=meaning.value),
        status=status_told(meaning.status) if meaning.status else "",
    )
    return told if any(figure for _, figure in told.figures) else command_told(meaning.kind)
