"""Reads the facts of a plot apart from measuring: its site, shape, age, and painted line.

Parsers of single values of ``survey.toml``; each raises OperatorError naming what cannot be used.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from callout.core.errors import OperatorError
from callout.core.given import short_text

SHAPES = ("circle", "square", "rectangle", "strip", "irregular")
_EARLIEST = 1700  # no tagged plot is older (an assumption)


def word(value: Any) -> str:
    """A short text: one line. Raises OperatorError otherwise."""
    return short_text(value, 60).strip()


def established(value: Any) -> str:
    """A year, or a day as 1968-05-12; not in the future."""
    told = str(value).strip()
    try:
        on = date(int(told), 1, 1) if told.isdigit() else date.fromisoformat(told)
    except ValueError:
        raise OperatorError(f"{told!r} is no year or day: write 1968 or 1968-05-12") from None
    if not date(_EARLIEST, 1, 1) <= on <= datetime.now().astimezone().date():
        raise OperatorError(f"{told!r} is not between {_EARLIEST} and today")
    return told
