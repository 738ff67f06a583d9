"""Dates as tables write them: one reader for rosters and for foreign tables.

A column is read in one order. If some of its cells begin with the year and others end with it, the
order is unclear, and the column is refused. No order is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from callout.core.errors import OperatorError

ASK = "?"
ORDERS = ("y-m-d", "d-m-y", "m-d-y")
_MOST_SHOWN = 5
_MONTHS = {
    name: at
    for at, name in enumerate(
        ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), 1
    )
}
_NUMERIC = re.compile(r"([0-9]{1,4})[-./ ]([0-9]{1,2})[-./ ]([0-9]{1,4})")
_NAMED = re.compile(r"([0-9]{1,2})[-. ]*([A-Za-z]{3})[a-z]*[-., ]*([0-9]{4})")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_TIME = re.compile(r"[T ]\d{1,2}:\d{2}.*$")


def order_of(cells: Iterable[tuple[int, str]]) -> str:
    """The one order of ``ORDERS`` that every cell (its line, its text) allows; ``?`` for two.

    Raises OperatorError naming rows if some begin with the year and others end with it.
    """
    first: list[str] = []
    last: list[str] = []
    orders = {"d-m-y", "m-d-y"}
    for line, text in cells:
        parts = _NUMERIC.fullmatch(_TIME.sub("", text.strip()))
        if parts is None:
            continue
        if len(parts[1]) == 4:
            first.append(f"line {line} {text!r}")
            continue
        last.append(f"line {line} {text!r}")
        if int(parts[1]) > 12:
            orders.discard("m-d-y")
        if int(parts[2]) > 12:
            orders.discard("d-m-y")
    if first and last:
        raise OperatorError(
            "dates are written in two ways: the year comes first in "
            f"{_some(first)}, and last in {_some(last)}: write all of them one way, as 2021-07-03"
        )
    if not last:
        return "y-m-d"
    return orders.pop() if len(orders) == 1 else ASK


def _some(rows: list[str]) -> str:
    more = len(rows) - _MOST_SHOWN
    return ", ".join(rows[:_MOST_SHOWN]) + (f" and {more} more" if more > 0 else "")


def read_day(text: str, order: str, year_day: str = "") -> date:
    """A day written as 2024-06-30, 30.6.2024, 6/30/2024, 30 June 2024, 20240630 or a bare year.

    A bare year needs ``year_day`` (month-day). Only ``order`` is taken if several are possible.
    Raises ValueError, in words for a person, otherwise.
    """
    plain = _TIME.sub("", text.strip())
    if not plain:
        raise ValueError("there is no date")
    if re.fullmatch(r"[0-9]{4}", plain):
        if not year_day:
            raise ValueError("only a year: which day of it?")
        plain, order = f"{plain}-{year_day}", "y-m-d"
    parts = _parts(plain, order)
    if parts is None:
        raise ValueError("no day in a form that is known, as 2024-06-30")
    try:
        return _day_between(*parts)
    except ValueError as error:
        raise ValueError(f"no such day: {error}") from None


def _parts(plain: str, order: str) -> tuple[int, int, int] | None:
    """Year, month, day."""
    if match := _COMPACT.fullmatch(plain):
        return int(match[1]), int(match[2]), int(match[3])
    if (match := _NAMED.fullmatch(plain)) and match[2].casefold() in _MONTHS:
        return int(match[3]), _MONTHS[match[2].casefold()], int(match[1])
    match = _NUMERIC.fullmatch(plain)
    if match is None:
        return None
    one, two, three = int(match[1]), int(match[2]), int(match[3])
    year_first = len(match[1]) == 4
    if not year_first and len(match[3]) != 4:
        return None  # a year of two digits could be of either century
    if year_first != (order == "y-m-d"):
        where = "first" if year_first else "last"
        raise ValueError(f"the year comes {where}, where dates are {order}")
    if year_first:
        return one, two, three
    return (three, two, one) if order == "d-m-y" else (three, one, two)


def _day_between(year: int, month: int, day: int) -> date:
    if not 1700 <= year <= 2200:
        raise ValueError(f"year {year} is not of a measured tree")
    return date(year, month, day)
