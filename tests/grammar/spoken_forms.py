"""Spoken forms of numbers for the grammar's tests, from an outside library and digit by digit.

``num2words`` (a public library) is the outside reference for English numerals; nothing here may
look into the grammar under test.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from functools import cache

from num2words import num2words

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
ALL_TAGS = range(1, 1000)
ALL_SIZES = tuple(Decimal(tenths) / 10 for tenths in range(10, 1000))
SEPARATORS = (" diameter ", ", ", " is ")


def spelt(figures: str, zero: str = "zero") -> str:
    """Digit by digit: ``105`` as ``one zero five`` (or ``one oh five``); "." is ``point``."""
    words = [*(zero if digit == "0" else DIGITS[int(digit)] for digit in figures.replace(".", ""))]
    if "." in figures:
        words.insert(figures.index("."), "point")
    return " ".join(words)


def numerals(value: int | Decimal) -> Iterator[str]:
    """``num2words`` in its British form, in the American form without "and", and unhyphenated."""
    british = num2words(value)
    yield british
    yield british.replace(" and ", " ")
    yield british.replace("-", " ")


@cache
def tag_forms(tag: int) -> tuple[str, ...]:
    """Every distinct way a tag is said here: numerals and digit by digit."""
    figures = str(tag)
    return tuple(dict.fromkeys((*numerals(tag), spelt(figures), spelt(figures, "oh"))))


@cache
def size_forms(size: Decimal) -> tuple[str, ...]:
    """Every distinct way a size with one decimal is said here, its decimal always said."""
    figures = f"{size:.1f}"
    exact = Decimal(figures)
    ways = [*numerals(exact), spelt(figures), spelt(figures, "oh")]
    if figures.endswith(".0"):
        whole = int(exact)
        ways += [num2words(whole), f"{num2words(whole)} even", f"{num2words(whole)} point oh"]
    return tuple(dict.fromkeys(ways))
