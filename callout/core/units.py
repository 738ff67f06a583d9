"""Lengths as exact decimals with their unit, and conversions between them.

An inch is exactly 2.54 cm (international yard and pound agreement, 1959); every factor here follows
from that. Binary floats are refused, since a stored reading must be exact. Rounding to a tape's
graduation is in ``rounding``.
"""

from __future__ import annotations

import re
from decimal import Context, Decimal, localcontext
from enum import Enum

from callout.core.errors import OperatorError, ProgrammerError

# 50 digits: enough that a girth divided by pi never lands on the wrong side of a graduation.
EXACT = Context(prec=50)
_PLAIN = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
PI = Decimal("3.14159265358979323846264338327950288419716939937510")


class Unit(Enum):
    """A unit of length for diameters and girths."""

    INCH = "in"
    CENTIMETRE = "cm"
    MILLIMETRE = "mm"
    METRE = "m"
    FOOT = "ft"

    # There is one of each, and they are looked up at every conversion.
    __hash__ = object.__hash__

    @property
    def centimetres(self) -> Decimal:
        """How many centimetres one of this unit is, exactly."""
        return _CENTIMETRES[self]


LARGEST_CENTIMETRES = Decimal(6000)
SMALLEST_CENTIMETRES = Decimal("0.01")
"""No tree is sixty metres in girth, or a tenth of a millimetre thick."""

_CENTIMETRES = {
    Unit.INCH: Decimal("2.54"),
    Unit.CENTIMETRE: Decimal("1"),
    Unit.MILLIMETRE: Decimal("0.1"),
    Unit.METRE: Decimal("100"),
    Unit.FOOT: Decimal("30.48"),
}


class Scale(Enum):
    """Which side of the tape was read: diameter graduations, or plain girth."""

    DIAMETER = "diameter"
    GIRTH = "girth"


def parse_unit(text: str) -> Unit:
    """The unit with this symbol (``in``, ``cm``, ``mm``, ``m``, ``ft``).

    Raises OperatorError for anything else.
    """
    try:
        return Unit(text.strip().lower())
    except ValueError:
        known = ", ".join(unit.value for unit in Unit)
        raise OperatorError(f"unknown unit {text!r}: use one of {known}") from None


def parse_decimal(text: str) -> Decimal:
    """An exact finite decimal written with a point, e.g. ``24.6``.

    Raises OperatorError for words, exponents, infinities, NaN, or more than 20 digits.
    """
    cleaned = text.strip()
    if _PLAIN.fullmatch(cleaned) is None:
        raise OperatorError(f"{text!r} is not a number: write digits and a point, as 24.6")
    if len(cleaned) > 20:  # twice 20 digits still fit into the 50 of EXACT
        raise OperatorError(f"{cleaned[:20]}… is not a usable number: write at most 20 characters")
    return Decimal(cleaned)


def convert(value: Decimal, source: Unit, target: Unit) -> Decimal:
    """Convert ``value`` from ``source`` to ``target`` units, unrounded (50 digits)."""
    refuse_floats(value)
    if source is target:
        return value
    return EXACT.divide(EXACT.multiply(value, source.centimetres), target.centimetres)


def too_large(value: Decimal, unit: Unit, scale: Scale = Scale.DIAMETER) -> bool:
    """Whether no tree has such a diameter or girth, because it is too large."""
    round_ = value if scale is Scale.GIRTH else value * PI
    return round_ * unit.centimetres > LARGEST_CENTIMETRES


def too_small(value: Decimal, unit: Unit) -> bool:
    """Whether no tree has such a diameter or girth, because it is too small."""
    return value * unit.centimetres < SMALLEST_CENTIMETRES


def diameter_from(value: Decimal, scale: Scale) -> Decimal:
    """The diameter that a tape reading means: the reading itself, or girth over pi (50 digits)."""
    refuse_floats(value)
    if scale is Scale.DIAMETER:
        return value
    with localcontext(EXACT):
        return value / PI


def refuse_floats(value: object) -> None:
    """Raises ProgrammerError for anything but an exact decimal."""
    if not isinstance(value, Decimal):
        raise ProgrammerError(f"{value!r} is a {type(value).__name__}: readings are exact decimals")
