"""Slips that explain an odd diameter: wrong side of the tape, wrong unit, digits, the tree before.

Each asks: with the slip undone, would the size be usual for this tree? None of them proposes a
value; the measurer looks again. Whether a size is odd at all is for ``checks_size``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal, localcontext
from itertools import pairwise

from callout.core.checks_size import Compared
from callout.core.model import Warned
from callout.core.units import EXACT, PI

Check = Callable[[Compared], Warned | None]
_INCH_CM = Decimal("2.54")
_TEN = Decimal(10)


def tree_before(of: Compared) -> Warned | None:
    """The very value of the tree that was saved just before."""
    if of.just_before is None or of.value != of.just_before:
        return None
    return Warned("tree before", "the same as the tree before", "is this the right tree?")


def wrong_side(of: Compared) -> Warned | None:
    """A girth taken for a diameter, or a diameter for a girth: the ratio is near pi."""
    return _scaled(
        of, "wrong side", PI, "that looks like girth", "that looks like a diameter read as girth",
        "which side of the tape was read?",
    )  # fmt: skip


def wrong_unit(of: Compared) -> Warned | None:
    """Inches for centimetres or the other way: the ratio is near 2.54."""
    return _scaled(
        of, "wrong unit", _INCH_CM, "that looks like centimetres", "that looks like inches",
        "which unit does the tape show?",
    )  # fmt: skip


def slipped_decimal(of: Compared) -> Warned | None:
    """The decimal point one place off: the ratio is near ten."""
    says = "the decimal point looks one place off"
    return _scaled(of, "slipped decimal", _TEN, says, says, "where is the point?")


def sounds_alike(of: Compared) -> Warned | None:
    """Sixteen for sixty and the like, in the size's whole part."""
    if not _any_usual(of, _alike(_plain(of.value))):
        return None
    return Warned("sounds alike", "sixteen or sixty?", "say the digits one by one")


def swapped_digits(of: Compared) -> Warned | None:
    """Two neighbouring digits in each other's place."""
    if not _any_usual(of, _swapped(_plain(of.value))):
        return None
    return Warned("swapped digits", "two digits look swapped", "read the tape again")


def neighbouring_digit(of: Compared) -> Warned | None:
    """One digit, not the last, one too high or too low: the mark beside the right one was read."""
    if not _any_usual(of, _one_off(_plain(of.value))):
        return None
    return Warned("neighbouring digit", "one digit looks one off", "read the tape again")


_SCALES: dict[Check, Decimal] = {wrong_side: PI, wrong_unit: _INCH_CM, slipped_decimal: _TEN}
_DIGITS: dict[Check, Callable[[str], Iterator[str]]] = {
    sounds_alike: lambda text: _alike(text),
    swapped_digits: lambda text: _swapped(text),
}


def likeliest_slip(of: Compared) -> Warned | None:
    """The slip that explains ``of`` best, if any does.

    Several may: the one that comes nearest to the last size is told. One digit off has the most
    ways to fit, and comes last.
    """
    slips = [*_SCALES, *_DIGITS]
    ranked = (tree_before, *sorted(slips, key=lambda check: _misfit(of, check)), neighbouring_digit)
    found = (check(of) for check in ranked)
    return next((item for item in found if item is not None), None)


def _misfit(of: Compared, check: Check) -> Decimal:
    """How far from the last size the slip undone comes, mm."""
    if check in _SCALES:
        values = _undone(of, _SCALES[check])
    else:
        values = tuple(Decimal(text) for text in _DIGITS[check](_plain(of.value)))
    return min((abs(of.growth_mm(value)) for value in values), default=Decimal("Infinity"))


def _undone(of: Compared, factor: Decimal) -> tuple[Decimal, ...]:
    with localcontext(EXACT):
        return of.value / factor, of.value * factor


def _scaled(
    of: Compared, name: str, factor: Decimal, too_large: str, too_small: str, look: str
) -> Warned | None:
    if of.before_mm <= 0:
        return None
    for value, says in zip(_undone(of, factor), (too_large, too_small), strict=True):
        near = abs(of.growth_mm(value)) <= of.limits.ratio_tolerance * of.before_mm
        if near or of.is_usual(value):
            return Warned(name, says, look)
    return None


def _any_usual(of: Compared, texts: Iterator[str]) -> bool:
    return any(of.is_usual(Decimal(text)) for text in texts)


def _plain(value: Decimal) -> str:
    return f"{value:f}"


def _alike(text: str) -> Iterator[str]:
    """13 to 19 for 30 to 90 and the other way, as the last two digits of the whole part."""
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


def _swapped(text: str) -> Iterator[str]:
    places = _digits_at(text)
    for left, right in pairwise(places):
        marks = list(text)
        marks[left], marks[right] = marks[right], marks[left]
        if marks[left] != marks[right]:
            yield "".join(marks)


def _one_off(text: str) -> Iterator[str]:
    for at in _digits_at(text)[:-1]:
        for digit in (int(text[at]) - 1, int(text[at]) + 1):
            if 0 <= digit <= 9:
                yield f"{text[:at]}{digit}{text[at + 1 :]}"
