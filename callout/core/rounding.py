"""Rounding a diameter to the tape's graduation, by the survey's convention.

Two conventions are in use: to the nearest graduation (ties up), and down to the last whole
graduation (common practice; a US field guide reads 3.68 in as 3.6, from memory). Nothing here knows
about trees or history: an earlier value must never influence a new one.
"""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal, localcontext
from enum import Enum

from callout.core.errors import OperatorError
from callout.core.units import EXACT, parse_decimal, refuse_floats


class Rounding(Enum):
    """The survey's convention for a reading that lies between two graduations."""

    NEAREST = "nearest"
    DOWN = "down"


def parse_graduation(text: str) -> Decimal:
    """The tape's graduation, any positive decimal. Raises OperatorError otherwise."""
    value = parse_decimal(text)
    if value <= 0:
        raise OperatorError(f"graduation {text!r} must be above zero, as 0.1")
    return value


def to_graduation(value: Decimal, graduation: Decimal, rounding: Rounding) -> Decimal:
    """``value`` as it is recorded: a whole multiple of ``graduation``, with its decimal places.

    ``nearest`` rounds ties up; ``down`` takes the last whole graduation. Both arguments are exact,
    in the same unit; ``value`` is never negative.
    """
    refuse_floats(value)
    refuse_floats(graduation)
    if value < 0:
        raise OperatorError(f"diameter {value} is below zero")
    mode = ROUND_HALF_UP if rounding is Rounding.NEAREST else ROUND_DOWN
    with localcontext(EXACT):
        # Rounding is monotonic: a quotient cut at 50 digits never drops a whole graduation.
        steps = (value / graduation).quantize(Decimal(1), rounding=mode)
        recorded = steps * graduation
        places = max(0, -int(graduation.as_tuple().exponent))
        return recorded.quantize(Decimal(1).scaleb(-places))
