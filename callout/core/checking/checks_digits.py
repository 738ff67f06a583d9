"""How the digits of a number slip: sound-alikes, swaps, one off. Texts in, texts out."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise


def sounding_alike(text: str) -> Iterator[str]:
    """13 to 19 for 30 to 90 and vice versa, in the last two digits of the whole part."""
    whole, point, places = text.partition(".")
    head, tail = whole[:-2], whole[-2:]
    if len(tail) < 2:
        return
    if tail[0] == "1" and tail[1] in "3456789":
        yield f"{head}{tail[1]}0{point}{places}"
    if tail[1] == "0" and tail[0] in "3456789":
        yield f"{head}1{tail[0]}{point}{places}"


def _digits_at(text: str) -> list[int]:
    return [at for at, mark in enumerate(text) if mark.isdigit()]


def swapped(text: str) -> Iterator[str]:
    """Two neighbouring digits swapped."""
    places = _digits_at(text)
    for left, right in pairwise(places):
        marks = list(text)
        marks[left], marks[right] = marks[right], marks[left]
        if marks[left] != marks[right]:
            yield "".join(marks)


def one_off(text: str) -> Iterator[str]:
    """One digit, not the last, one too high or too low: misread by one mark."""
    for at in _digits_at(text)[:-1]:
        for digit in (int(text[at]) - 1, int(text[at]) + 1):
            if 0 <= digit <= 9:
                yield f"{text[:at]}{digit}{text[at + 1 :]}"
