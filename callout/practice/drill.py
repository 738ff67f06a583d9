"""Numbers said digit by digit: cards with numbers that sound alike, and what was misheard.

Both numbers of a pair are in the plot, so that hearing one for the other is noticed. Which numbers
sound alike is common practice; English only. No station and no screen here.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from callout.core.damm import check_digit
from callout.core.units import Unit

_FIGURES = ("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
# Words of numerals: two digits in one word, or none of their own.
_NUMERALS = frozenset(
    (
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
        "twenty",
        "thirty",
        "forty",
        "fifty",
        "sixty",
        "seventy",
        "eighty",
        "ninety",
        "hundred",
        "thousand",
        "double",
        "triple",
    )
)
_ALIKE = (("5", "9"), ("0", "4"))
HOW = (
    "Say every figure by itself: 15 is 'one five', 50 is 'five oh', 0 is 'oh' or 'zero'. "
    "Fifteen and fifty sound alike in wind, five and nine, oh and four too: such numbers are here."
)
HOW_CHECKED = (
    "Each tag ends in a check digit (Damm): with one figure heard wrongly, or two swapped, "
    "it is no tag of this plot, so it goes to no other tree."
)


def one_by_one(figures: str) -> str:
    """A tag or a size said digit by digit: ``one oh five``, ``two four point six``."""
    return " ".join("point" if item == "." else _FIGURES[int(item)] for item in figures)


def said_one_by_one(words: str) -> bool:
    """Whether no numeral such as "fifteen" or "hundred" is among the words."""
    return _NUMERALS.isdisjoint(words.split())


def drilled_tags(chance: random.Random, trees: int, *, checked: bool) -> list[str]:
    """So many tags, in pairs; each with a check digit appended if ``checked``."""
    tags: dict[str, None] = {}
    while len(tags) < trees:
        tags.update(dict.fromkeys(_pair_of_tags(chance)))
    chosen = list(tags)[:trees]
    return sorted((tag + check_digit(tag) if checked else tag for tag in chosen), key=int)


def _pair_of_tags(chance: random.Random) -> tuple[str, str]:
    """Two tags of two or three digits that differ as 15 and 50, 5 and 9, or oh and four do."""
    head = chance.choice(["", str(chance.randint(1, 3))])
    if chance.random() < 0.5:
        figure = chance.randint(3, 9)
        return f"{head}1{figure}", f"{head}{figure}0"
    head = head or str(chance.randint(1, 3))
    tail = chance.choice(["", str(chance.randint(1, 9))])
    one, other = chance.choice(_ALIKE)
    return f"{head}{one}{tail}", f"{head}{other}{tail}"


def drilled_size(chance: random.Random, unit: Unit) -> Decimal:
    """A size whose digits sound like others'; 13.0 to 90.9 cm, or 13.0 to 30.9 in."""
    figure = chance.randint(3, 9) if unit is not Unit.INCH else 3
    whole = chance.choice([f"1{chance.randint(3, 9)}", f"{figure}0"])
    return Decimal(f"{whole}.{chance.choice('0459')}")


@dataclass(frozen=True)
class Misheard:
    """A tag or a size (``what``) that was called, and what it was, or nearly was, taken for."""

    what: str
    called: str
    heard: str
    doubted: bool = False

    @property
    def told(self) -> str:
        """E.g. ``tag 105 heard as 109 (five as nine)``; ``size 16.0 asked about, or 16.2``."""
        if self.doubted:
            return f"{self.what} {self.called} asked about, or {self.heard}"
        slip = self.slip
        return f"{self.what} {self.called} heard as {self.heard}{f' ({slip})' if slip else ''}"

    @property
    def slip(self) -> str:
        """The digit that was taken for another; '' unless there was exactly one."""
        if len(self.called) != len(self.heard):
            return ""
        differ = [pair for pair in zip(self.called, self.heard, strict=True) if len(set(pair)) > 1]
        if len(differ) != 1 or "." in differ[0]:
            return ""
        return " as ".join(one_by_one(figure) for figure in differ[0])


def slips_told(misheard: Iterable[Misheard]) -> str:
    """Every confusion in words, the commonest first; '' if there was none."""
    counted = Counter(item.told for item in misheard)
    ranked = sorted(counted.items(), key=lambda item: (-item[1], item[0]))
    return "; ".join(told if times == 1 else f"{told}, {times} times" for told, times in ranked)
