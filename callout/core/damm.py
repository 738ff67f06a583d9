"""Damm's check digit: one extra digit that exposes a misread number.

Finds every single wrong digit and every swap of two neighbours. Source: H. M. Damm, Total
anti-symmetrische Quasigruppen, thesis, Marburg 2004; the table is the one of order ten that goes
under his name, as many public codes have it (the tests check its properties and 572 -> 4).
"""

from __future__ import annotations

_TABLE = (
    "0317598642",
    "7092154863",
    "4206871359",
    "1750983426",
    "6123045978",
    "3674209581",
    "5869720134",
    "8945362017",
    "9438617205",
    "2581436790",
)


def check_digit(figures: str) -> str:
    """The digit to append to ``figures`` (ASCII 0 to 9), e.g. 4 for 572."""
    row = 0
    for figure in figures:
        row = int(_TABLE[row][int(figure)])
    return str(row)


def checks_out(figures: str) -> bool:
    """Whether the last of ``figures`` is the check digit of those before it."""
    return check_digit(figures) == "0"
