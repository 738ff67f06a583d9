"""An independent little evaluator: which strings of figures a run of English words can spell.

Written from the ordinary rules of English numerals and of reading figures aloud, without a look
at the grammar; it is generous, since it only has to say which figures were never said.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache

_UNITS = "zero one two three four five six seven eight nine"
_TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
UNITS = {word: str(n) for n, word in enumerate(_UNITS.split())} | {"oh": "0"}
TEENS = {word: str(n) for n, word in enumerate(_TEENS.split(), 10)}
TENS = {word: str(n) for n, word in enumerate(_TENS.split(), 2)}
FRACTIONS = {"a half": ".5", "one half": ".5", "a quarter": ".25", "three quarters": ".75"}
HESITATING = {"um", "umm", "uh", "uhm", "er", "erm", "ah", "hm", "hmm", "mm", "eh"}
JOINING = {"and", ",", "-", *HESITATING}
ONES = ("one", "a", "an")
PARTS = {
    "quarter": 4,
    "quarters": 4,
    "half": 2,
    "eighth": 8,
    "eighths": 8,
    "tenth": 10,
    "tenths": 10,
    "sixteenth": 16,
    "sixteenths": 16,
}


@cache
def below_hundred(words: tuple[str, ...]) -> frozenset[int]:
    """The numbers 1 to 99 that all of the words are, as one numeral."""
    words = tuple(word for word in words if word not in JOINING)
    if len(words) == 1:
        (word,) = words
        known = {**UNITS, **TEENS, **{ten: f"{digit}0" for ten, digit in TENS.items()}}
        return frozenset({int(known[word])} if word in known else ())
    if len(words) == 2 and words[0] in TENS and words[1] in UNITS:
        return frozenset({int(TENS[words[0]] + UNITS[words[1]])})
    return frozenset()


@cache
def numerals(words: tuple[str, ...]) -> frozenset[int]:
    """The numbers that all of the words are, with hundreds and thousands."""
    for scale, factor in (("thousand", 1000), ("hundred", 100)):
        if scale in words:
            at = words.index(scale)
            heads = {1} if words[:at] == ("a",) else below_hundred(words[:at])
            tails = numerals(words[at + 1 :]) if words[at + 1 :] else {0}
            return frozenset(head * factor + tail for head in heads for tail in tails)
    return below_hundred(words)


@cache
def spelt(words: tuple[str, ...]) -> frozenset[str]:
    """Every string of figures and points that all of the words, in order, can be read as."""
    if not words:
        return frozenset({""})
    found: set[str] = set()
    for length in range(1, min(len(words), 9) + 1):
        heads = _piece(words[:length])
        if heads:
            found.update(head + tail for head in heads for tail in spelt(words[length:]))
    return frozenset(found)


def part_of(top: int, bottom: int) -> str:
    """A fraction as what stands behind a whole number: 3 of 8 is ``.375``."""
    return str(Decimal(top) / bottom).removeprefix("0")


@cache
def _piece(words: tuple[str, ...]) -> frozenset[str]:
    """One piece: a joining word, a figure, a point, a fraction, a double, or a whole numeral."""
    found = {str(number) for number in numerals(words)}
    if len(words) == 1:
        (word,) = words
        if word in JOINING:
            found.add("")
        elif word in ("point", "decimal", "dot"):
            found.add(".")
        elif word in UNITS:
            found.add(UNITS[word])
        elif word.replace(".", "").isdigit():
            found.add(word)
        elif "/" in word:
            found.add(part_of(*map(int, word.split("/"))))
    if (plain := [word for word in words if word not in JOINING]) and plain[-1] in PARTS:
        tops = {1} if plain[0] in ONES and len(plain) == 2 else below_hundred(tuple(plain[:-1]))
        found.update(part_of(top, PARTS[plain[-1]]) for top in tops)
    if len(words) == 2 and words[0] in ("double", "triple") and words[1] in UNITS:
        found.add(UNITS[words[1]] * (2 if words[0] == "double" else 3))
    if words[0] == "and" and " ".join(words[1:]) in FRACTIONS:
        found.add(FRACTIONS[" ".join(words[1:])])
    return frozenset(found)
