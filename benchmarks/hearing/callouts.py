"""Draws whole callouts from the grammar as one plot hears it. Words only, no sound.

Three of five as measurers say most of them, the rest by walks over the plot's automaton, so that
rare forms are there too. Kept are those with exactly one meaning in the plot: what can be taken in
two ways is asked about however well it is heard.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from num2words import num2words

from benchmarks.hearing.plot import SCOPE, TAGS
from callout.core.meaning import Meaning
from callout.grammar.automaton import Automaton
from callout.grammar.parser import choose, meanings_of
from callout.grammar.words import Heard

MAX_WORDS = 14
# Of the walks: how many of each kind, the rest being whatever comes.
_WALKED = ("reading", "reading", "reading", "size", "tree", "status", "new", "confirm", "", "")
_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_COMMANDS = (
    "confirm",
    "confirm",
    "yes",
    "no",
    "wrong",
    "undo",
    "repeat",
    "scratch that",
    "skip tree",
    "accept",
    "what's left",
    "plot complete",
)
_STATUSES = ("dead standing", "dead", "missing", "not found", "cut", "alive")


@dataclass(frozen=True)
class Called:
    """A callout: its words, with commas where a voice pauses, and its one meaning in the plot."""

    text: str
    words: tuple[str, ...]
    meaning: Meaning


def draw(automaton: Automaton, rng: random.Random, walked: bool) -> Called:
    """One callout with one meaning in the plot."""
    kind = rng.choice(_WALKED)
    while True:
        text = _walk(automaton, rng) if walked else _plain(rng)
        found = called(automaton, text)
        if found is not None and (not walked or not kind or found.meaning.kind == kind):
            return found


def called(automaton: Automaton, text: str) -> Called | None:
    """The text as a callout, or None where it has no meaning in the plot, or several."""
    words = tuple(text.replace(",", " ").split())
    parsed = choose(text, meanings_of(automaton, [Heard(word, word) for word in words]), SCOPE)
    if parsed.problem is not None or len(parsed.meanings) != 1:
        return None
    return Called(text, words, parsed.meanings[0]) if SCOPE.fits(parsed.meanings[0]) else None


def _walk(automaton: Automaton, rng: random.Random) -> str:
    while True:
        state, words = automaton.start, list[str]()
        while len(words) < MAX_WORDS:
            leaving = automaton.leaving[state]
            if not leaving or (state in automaton.finals and rng.random() < 0.35):
                return " ".join(words)
            word = rng.choice(sorted(leaving))
            words.append(word)
            _, _, state = rng.choice(leaving[word])


def _plain(rng: random.Random) -> str:
    form = rng.random()
    tag = _tag(rng)
    if form < 0.60:
        return f"tree {tag}{rng.choice([',', ',', ', diameter', ' diameter'])} {_size(rng)}"
    if form < 0.70:
        return _size(rng)
    if form < 0.78:
        return f"tree {tag}"
    if form < 0.86:
        return f"tree {tag}, {rng.choice(_STATUSES)}"
    return rng.choice(_COMMANDS)


def _tag(rng: random.Random) -> str:
    tag = rng.choice(TAGS)
    if rng.random() < 0.35:
        return " ".join(_DIGITS[int(digit)] for digit in tag)
    return _numeral(int(tag), rng)


def _size(rng: random.Random) -> str:
    """Most trees of a wood are 8 to 50 cm thick (lognormal; invented)."""
    tenths = min(round(10 * rng.lognormvariate(3.1, 0.5)), 1199)
    whole, tenth = divmod(tenths, 10)
    unit = rng.choice(["", "", "", "", "", " centimetres"])
    if tenth == 5 and rng.random() < 0.5:
        return f"{_numeral(whole, rng)} and a half{unit}"
    return f"{_numeral(whole, rng)} point {_DIGITS[tenth]}{unit}"


def _numeral(number: int, rng: random.Random) -> str:
    words = str(num2words(number)).replace("-", " ")
    return words if rng.random() < 0.5 else words.replace(" and ", " ")
