"""Numbers and units as devices write them: points, commas, fractions, unit marks.

Every reader here walks its text once, left to right, without backtracking, so that no input can
make it slow. ``template`` decides what the number means (which field, which pattern).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, localcontext
from enum import Enum

from callout.core.units import EXACT, Scale, Unit
from callout.devices.measurement import Reason

DIGITS = frozenset("0123456789")
MOST_DIGITS = 12


class Mark(Enum):
    """Which mark separates the decimals."""

    POINT = "point"
    COMMA = "comma"
    EITHER = "either"


UNIT_NAMES = {
    "mm": Unit.MILLIMETRE,
    "cm": Unit.CENTIMETRE,
    "m": Unit.METRE,
    "in": Unit.INCH,
    "inch": Unit.INCH,
    "inches": Unit.INCH,
    '"': Unit.INCH,
    "ft": Unit.FOOT,
    "foot": Unit.FOOT,
    "feet": Unit.FOOT,
    "'": Unit.FOOT,
}

SCALE_NAMES = {
    "diameter": Scale.DIAMETER,
    "diam": Scale.DIAMETER,
    "dia": Scale.DIAMETER,
    "d": Scale.DIAMETER,
    "girth": Scale.GIRTH,
    "circumference": Scale.GIRTH,
    "circ": Scale.GIRTH,
    "g": Scale.GIRTH,
    "c": Scale.GIRTH,
}


@dataclass(frozen=True)
class Parts:
    """A scanned number: whole digits, the mark and decimals, a fraction; all as text."""

    negative: bool = False
    whole: str = ""
    mark: str = ""
    decimals: str = ""
    over: str = ""
    under: str = ""


def scan_number(text: str, start: int) -> tuple[Parts, int]:
    """The longest number at ``start``, and where it ends (``start`` itself if there is none).

    ``24.6``, ``24,6``, ``.5``, ``5/8``, ``9 5/8`` and ``9-5/8`` are numbers; a sign may come first.
    Only one mark: ``1,234.5`` ends before the point.
    """
    at = start
    negative = text[at : at + 1] == "-"
    if text[at : at + 1] in ("-", "+"):
        at += 1
    whole, at = _digits(text, at)
    if whole and text[at : at + 1] == "/":
        under, end = _digits(text, at + 1)
        return (Parts(negative, over=whole, under=under), end) if under else (Parts(), start)
    if text[at : at + 1] in (".", ",") and _is_digit(text, at + 1):
        decimals, end = _digits(text, at + 1)
        return Parts(negative, whole, text[at], decimals), end
    if not whole:
        return Parts(), start
    over, under, end = _fraction(text, at)
    return Parts(negative, whole, over=over, under=under), end


def _fraction(text: str, at: int) -> tuple[str, str, int]:
    """A fraction after a whole number and one joining sign; empty if there is none."""
    if text[at : at + 1] not in (" ", "-"):
        return "", "", at
    over, middle = _digits(text, at + 1)
    if not over or text[middle : middle + 1] != "/":
        return "", "", at
    under, end = _digits(text, middle + 1)
    return (over, under, end) if under else ("", "", at)


def _digits(text: str, at: int) -> tuple[str, int]:
    end = at
    while _is_digit(text, end):
        end += 1
    return text[at:end], end


def _is_digit(text: str, at: int) -> bool:
    return text[at : at + 1] in DIGITS


def number_from(parts: Parts, mark: Mark) -> Decimal | Reason:
    """The exact value of a scanned number, or why it has none.

    A fraction must have finite decimals (halves to 128ths), since a stored reading is exact.
    """
    if len(parts.whole + parts.decimals) > MOST_DIGITS or len(parts.over + parts.under) > 6:
        return Reason.NOT_A_NUMBER
    wrong = _wrong_mark(parts, mark)
    if wrong is not None:
        return wrong
    value = Decimal(f"{parts.whole or '0'}.{parts.decimals or '0'}")
    if not parts.decimals:
        value = Decimal(parts.whole or "0")
    if parts.under:
        fraction = _exact_fraction(int(parts.over), int(parts.under))
        if fraction is None:
            return Reason.NOT_A_NUMBER
        value += fraction
    return -value if parts.negative else value


def _wrong_mark(parts: Parts, mark: Mark) -> Reason | None:
    if not parts.mark or mark is Mark.EITHER:
        # "1,234" is 1234 or 1.234, depending on the country: never guessed.
        thousands = parts.mark == "," and len(parts.decimals) == 3 and parts.whole != "0"
        return Reason.AMBIGUOUS if thousands else None
    wanted = "." if mark is Mark.POINT else ","
    return None if parts.mark == wanted else Reason.NOT_A_NUMBER


def _exact_fraction(over: int, under: int) -> Decimal | None:
    """``over / under`` for a proper fraction of halves to 128ths; None for any other."""
    if under not in (2, 4, 8, 16, 32, 64, 128) or not 0 <= over < under:
        return None
    with localcontext(EXACT):
        return Decimal(over) / Decimal(under)
