"""Heights of measurement as people write them, in metres or with a unit, within limits."""

from __future__ import annotations

import re
from decimal import Decimal

from callout.core.errors import OperatorError
from callout.core.units import Unit, convert, parse_decimal

LOWEST_M, HIGHEST_M = Decimal("0.1"), Decimal(3)
"""Where a standing person can tape a stem: from the root collar to an arm's reach."""
_UNITS = {"m": Unit.METRE, "ft": Unit.FOOT, "feet": Unit.FOOT, "cm": Unit.CENTIMETRE}
_WRITTEN = re.compile(r"(?P<number>\S*?)\s*(?P<unit>m|ft|feet|cm)?", re.IGNORECASE)


def parse_height_m(text: str, highest_m: Decimal = HIGHEST_M) -> Decimal:
    """The height in metres, exactly: ``1.37``, ``1.37 m``, ``4.5 ft``, ``130 cm``.

    Raises OperatorError for what is not a height, or above ``highest_m`` (a ladder may raise it).
    """
    match = _WRITTEN.fullmatch(text.strip())
    if match is None:
        raise OperatorError(f"{text!r} is no height: write it as 1.37 m or 4.5 ft")
    number = parse_decimal(match["number"])
    unit = _UNITS[match["unit"].lower()] if match["unit"] else Unit.METRE
    height = convert(number, unit, Unit.METRE)
    if LOWEST_M <= height <= highest_m:
        return height
    feet = LOWEST_M <= convert(number, Unit.FOOT, Unit.METRE) <= highest_m
    meant = f", or {number} ft if feet are meant" if unit is Unit.METRE and feet else ""
    raise OperatorError(
        f"{text.strip()!r} is out of reach: write a height of {LOWEST_M} to {highest_m} m{meant}"
    )
