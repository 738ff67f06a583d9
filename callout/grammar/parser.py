"""From words to every meaning that the grammar gives them.

All readings of the words are found, none is preferred; ``choose`` then takes one only if the roster
and the plausible sizes leave exactly one. The tree's previous size is unknown here on purpose: it
may flag a reading, never choose it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from callout.core.meaning import BARE, MOST_FIGURES, Meaning, meaning_of, parted
from callout.core.saying import Saying, Says, saying
from callout.core.told import command_told, status_told
from callout.grammar.automaton import Automaton, Emits
from callout.grammar.following import endings, steps_of
from callout.grammar.scope import Scope
from callout.grammar.words import Heard, tokens_of


@dataclass(frozen=True)
class Parsed:
    """The words, their possible meanings, and why no single one can be taken (or None)."""

    words: str
    meanings: tuple[Meaning, ...]
    problem: Saying | None


def meanings_of(automaton: Automaton, heard: Sequence[Heard]) -> tuple[Meaning, ...]:
    """Every distinct meaning of the tokens, in a stable order; empty if there is none.

    A number without the word "tree" is a tag only if the words have no other meaning: "twenty four
    point six" is a size, not tree 20.
    """
    return _distinct(said for said in _ends(automaton, heard) if not parted(said))


def _ends(automaton: Automaton, heard: Sequence[Heard]) -> set[Emits]:
    return endings(automaton, heard, steps_of(automaton, heard))


def _distinct(ends: Iterable[Emits]) -> tuple[Meaning, ...]:
    """Each meaning once, of those with the fewest tags that came without the word "tree"."""
    by_bare: dict[int, dict[Meaning, None]] = {}
    for said in sorted(ends):
        if (meaning := meaning_of(said)) is not None:
            by_bare.setdefault(said.count(BARE), {})[meaning] = None
    if not by_bare:
        return ()
    fewest = min(by_bare)
    return tuple(replace(one, bare=True) if fewest else one for one in by_bare[fewest])


def parse_words(automaton: Automaton, text: str, scope: Scope) -> Parsed:
    """What ``text`` means within ``scope``. Raises OperatorError for text that cannot be read."""
    tokens = _split_known(tokens_of(text, scope.decimal_comma), automaton.known)
    tokens = tuple(_as_it_hangs(token, scope) for token in tokens)
    ends = _ends(automaton, tokens)
    found = _distinct(ends)
    if not found and any(token.word == "," for token in tokens):
        # A comma that does not part tag from size is ignored. A hyphen is not: "eighty-three
        # inches" is not tree 80 of three inches.
        tokens = tuple(item for item in tokens if item.word != ",")
        ends = _ends(automaton, tokens)
        found = _distinct(ends)
    figures = max((sum(map(str.isdigit, token.text)) for token in tokens), default=0)
    if not found and figures > MOST_FIGURES:
        return Parsed(text, (), saying("number-of-figures", count=figures))
    apart = {said for said in ends if parted(said)}
    meanings = _distinct(ends - apart) if apart else found
    if any(token.word in _FIGURES for token in tokens):  # digits show plainly which is the tag
        meanings = tuple(replace(meaning, bare=False) for meaning in meanings)
    if not meanings and (so_far := _so_far(automaton, tokens, scope)) is not None:
        return Parsed(text, (), so_far)
    chosen = _maybe_one(choose(text, meanings, scope), scope)
    return _with_parted(chosen, _distinct(apart), scope)


def _so_far(automaton: Automaton, tokens: Sequence[Heard], scope: Scope) -> Saying | None:
    """Which tree was understood before the words went astray; it is told, and not taken."""
    if scope.tags is None:
        return None
    steps = steps_of(automaton, tokens)
    for count in range(len(steps) - 1, 0, -1):
        ends = endings(automaton, tokens[:count], steps[:count])
        found = [
            one
            for one in _distinct(said for said in ends if not parted(said))
            if one.tag and scope.fits(one)
        ]
        if len(found) == 1 and found[0].kind in _OF_A_TREE:
            rest = repr(" ".join(token.text for token in tokens[count:]))
            return saying("so-far", meaning=_told(found[0]), rest=rest)
    return None


def _maybe_one(chosen: Parsed, scope: Scope) -> Parsed:
    """Ask about a point with a space before it, "61 .5", where the plot has sizes of 61.5."""
    apart = _APART.search(chosen.words)
    if apart is None or len(chosen.meanings) != 1:
        return chosen
    whole = Meaning("size", value=Decimal("".join(apart.groups())))
    if not scope.size_fits(whole):
        return chosen
    both = (*chosen.meanings, whole)
    return Parsed(chosen.words, both, saying("could-be", meanings=_listed(both)))


_APART = re.compile(r"(?<![0-9.])([0-9]{1,6})\s+(\.[0-9]{1,6})(?![0-9])")
_OF_A_TREE = ("tree", "reading", "status")
_FIGURES = ("NUMERAL", "LABEL")


def _with_parted(chosen: Parsed, apart: Sequence[Meaning], scope: Scope) -> Parsed:
    """Ask if a number with a pause inside also fits the plot; such a number is never taken."""
    known = [replace(meaning, bare=False) for meaning in chosen.meanings]
    others = [one for one in apart if replace(one, bare=False) not in known and scope.fits(one)]
    if not others or (chosen.problem is not None and chosen.meanings):
        return chosen
    if not chosen.meanings:
        says = saying("number-in-one-piece", meaning=_told(others[0]))
        return Parsed(chosen.words, (), says)
    both = (*chosen.meanings, *others)
    return Parsed(chosen.words, both, saying("could-be", meanings=_listed(both)))


def _as_it_hangs(token: Heard, scope: Scope) -> Heard:
    """A tag of letters as the roster writes it, if only a hyphen differs; "T61" for tree 61."""
    if token.word != "LABEL" or scope.tags is None or token.text in scope.tags:
        return token
    plain = token.text.replace("-", "")
    if plain[:1] == "T" and plain[1:] in scope.tags and plain[1:].isdigit():
        return Heard("NUMERAL", plain[1:])
    alike = [tag for tag in scope.tags if tag.replace("-", "").upper() == plain]
    return replace(token, text=alike[0]) if len(alike) == 1 else token


def _split_known(tokens: Sequence[Heard], known: frozenset[str]) -> tuple[Heard, ...]:
    """Split what some languages write as one word ("팔십삼") into words of the grammar."""
    found: list[Heard] = []
    for token in tokens:
        whole = token.word in known or token.word in ("NUMERAL", "DECIMAL", "LABEL")
        parts = None if whole else _parts(token.word, known)
        found.extend([token] if parts is None else (Heard(part, part) for part in parts))
    return tuple(found)


def _parts(word: str, known: frozenset[str]) -> list[str] | None:
    """``word`` as a sequence of known words, longer ones first; None if it has none."""
    ways: list[list[str] | None] = [[], *[None] * len(word)]
    for end in range(1, len(word) + 1):
        for start in range(end):
            before = ways[start]
            if before is not None and word[start:end] in known:
                ways[end] = [*before, word[start:end]]
                break
    return ways[-1]


def choose(words: str, meanings: Sequence[Meaning], scope: Scope) -> Parsed:
    """Keep the meanings that fit the plot; unless exactly one is left, report a problem."""
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
