"""What the training voices are made to say: callouts of the grammar, its words, and chatter.

Half the callouts are drawn from plain templates, half from walks over the grammar's automaton, so
that every word is heard in every place it can stand. No sound is made here.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

from callout.grammar.automaton import Automaton
from callout.grammar.language import read_language

GRAMMAR = Path(__file__).parents[1] / "grammars" / "en.jsgf"
MAX_WORDS = 14

UNITS = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = [
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
# Words beside the grammar's that its owner may come to use.
SPARE = [
    "decimal",
    "dot",
    "quarters",
    "yeah",
    "done",
    "again",
    "down",
    "that",
    "left",
    "what",
    "where",
    "was",
    "i",
    "am",
    "plot",
    "complete",
    "half",
    "quarter",
    "metre",
    "metres",
]
CHATTER = (
    "hand me the other end of the rope please",
    "did you bring the lunch from the car",
    "the weather looks like rain over the hill",
    "I think we should walk along the creek",
    "mind the branch above your head",
    "what a beautiful bird on that log",
    "somebody left the gate open again yesterday",
    "can you hear the water from over here",
    "my boots are soaked through and through",
    "let us have a break and drink some coffee",
    "the battery is nearly empty",
    "they said the road was closed until Friday",
    "watch out for nettles on your left side",
    "he used to work in the office downstairs",
    "how long does it take to get back home",
    "we ought to finish before it gets dark",
    "pass the hammer and a couple of nails",
    "it smells like mushrooms around this place",
    "keep the tape straight and do not pull so hard",
    "our neighbour bought a green bicycle",
    "why would anyone park a van in the meadow",
    "remember to call your mother this evening",
    "these gloves are too small for my fingers",
    "the moss is thick on the northern face",
    "good morning everybody, nice to meet you",
)


def spoken_automaton() -> Automaton:
    """The grammar as a recogniser hears it, without what can only be written."""
    return read_language("en", GRAMMAR.read_text(encoding="utf-8")).spoken


def vocabulary(automaton: Automaton) -> tuple[str, ...]:
    """Every word the head can name, in a fixed order."""
    return tuple(sorted(automaton.words | set(SPARE)))


def walk(automaton: Automaton, rng: random.Random) -> str:
    """A callout drawn by walking the automaton, a comma here and there."""
    while True:
        state, words = automaton.start, []
        while len(words) <= MAX_WORDS:
            leaving = automaton.leaving[state]
            if not leaving or (state in automaton.finals and rng.random() < 0.35):
                return _with_commas(words, rng)
            word = rng.choice(sorted(leaving))
            words.append(word)
            _, _, state = rng.choice(leaving[word])


def template(rng: random.Random) -> str:
    """A callout as measurers say most of them."""
    kind = rng.random()
    if kind < 0.5:
        gap = rng.choice([",", ",", "", " is", " at", " diameter", " girth", ", diameter is"])
        lead = rng.choice(["tree", "tree", "tree", "tag", "number"])
        return f"{lead} {_tag(rng)}{gap} {_size(rng)}"
    if kind < 0.65:
        return _size(rng)
    if kind < 0.75:
        return f"{rng.choice(['tree', 'tag', 'number', 'new tree'])} {_tag(rng)}"
    return " ".join(_digit(rng) for _ in range(rng.randint(2, 7)))


def utterance(
    automaton: Automaton, words: tuple[str, ...], others: Sequence[str], rng: random.Random
) -> str:
    """One thing for a training voice to say; ``others`` are words of any kind.

    A third has nothing of the grammar, so that every phone is heard in many places.
    """
    draw = rng.random()
    if draw < 0.28:
        return walk(automaton, rng)
    if draw < 0.6:
        return template(rng)
    if draw < 0.68:
        return rng.choice(words)
    if draw < 0.92:
        return " ".join(rng.choice(others) for _ in range(rng.randint(1, 5)))
    return rng.choice(CHATTER)


def words_of(text: str) -> tuple[str, ...]:
    """The words of an utterance, commas left out."""
    return tuple(text.lower().replace(",", " ").replace(".", " ").split())


def _with_commas(words: list[str], rng: random.Random) -> str:
    said = words[0]
    for word in words[1:]:
        said += (", " if rng.random() < 0.12 else " ") + word
    return said


def _digit(rng: random.Random) -> str:
    return rng.choice([*UNITS, *UNITS, "zero", "zero", "oh"])


def _under_hundred(rng: random.Random) -> str:
    draw = rng.random()
    if draw < 0.3:
        return rng.choice(TEENS)
    if draw < 0.45:
        return rng.choice(TENS)
    return f"{rng.choice(TENS)} {rng.choice(UNITS)}"


def _tag(rng: random.Random) -> str:
    draw = rng.random()
    if draw < 0.3:
        return " ".join(_digit(rng) for _ in range(rng.randint(1, 4)))
    if draw < 0.6:
        return _under_hundred(rng)
    if draw < 0.75:
        return f"{rng.choice(UNITS)} {_under_hundred(rng)}"
    joined = rng.choice([" and ", " "])
    tail = rng.choice([rng.choice(UNITS), _under_hundred(rng)])
    return f"{rng.choice([*UNITS, 'a'])} hundred{joined}{tail}"


def _size(rng: random.Random) -> str:
    whole = rng.choice([_under_hundred(rng), _under_hundred(rng), rng.choice(UNITS), _tag(rng)])
    part = rng.choice(
        [f" point {_digit(rng)}"] * 5
        + [
            f" {_digit(rng)}",
            " and a half",
            " and a quarter",
            " and three quarters",
            " even",
            " flat",
        ]
    )
    unit = rng.choice([""] * 5 + [" inches", " centimetres", " centimeters", " millimetres"])
    return whole + part + unit
