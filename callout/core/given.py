"""Values from people and other programs: read strictly, or refused with the reason.

A reader takes one value as parsed from TOML or JSON and returns the value to use. It raises
OperatorError with the value and what is wanted; ``read_table`` puts the key before it and reports
all errors at once. Exact numbers come in quotes: a float has lost its digits before it is read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from enum import Enum
from typing import Any

from callout.core.errors import CalloutError, OperatorError
from callout.core.units import parse_decimal

Reader = Callable[[object], Any]


def boolean(value: object) -> bool:
    """True or false, and no substitutes."""
    if not isinstance(value, bool):
        raise OperatorError(f"{_shown(value)} must be true or false")
    return value


def text(value: object) -> str:
    """Any text."""
    if not isinstance(value, str):
        raise OperatorError(f"{_shown(value)} must be text in quotes")
    return value


def short_text(value: object, most: int = 200) -> str:
    """A text of one line and at most ``most`` characters that can be shown."""
    if not isinstance(value, str) or len(value) > most or not value.isprintable():
        raise OperatorError(f"{_shown(value)} must be a short text in quotes, on one line")
    return value


def whole(least: int, most: int) -> Reader:
    """A whole number, limits included."""

    def read(value: object) -> int:
        if not _is(value, int) or not least <= value <= most:  # type: ignore[operator]
            raise OperatorError(f"{_shown(value)} must be a whole number from {least} to {most}")
        return int(value)  # type: ignore[call-overload, no-any-return]

    return read


def number(least: float, most: float, of: str) -> Reader:
    """A number of ``of`` (seconds, dBFS), limits included; never an exact size."""

    def read(value: object) -> float:
        if not _is(value, int, float) or not least <= value <= most:  # type: ignore[operator]
            raise OperatorError(f"{_shown(value)} must be a number of {of} from {least} to {most}")
        return float(value)  # type: ignore[arg-type]

    return read


def one_of(*words: str) -> Reader:
    """One of these texts."""

    def read(value: object) -> str:
        if not isinstance(value, str) or value not in words:
            raise OperatorError(f"{_shown(value)} must be {listed(words)}")
        return value

    return read


def member(kind: type[Enum]) -> Reader:
    """A member of ``kind`` by its value."""

    known = listed(one.value for one in kind)

    def read(value: object) -> Enum:
        try:
            return kind(value)
        except ValueError:
            raise OperatorError(f"{_shown(value)} must be {known}") from None

    return read


def exact(value: object) -> Decimal:
    """An exact number in quotes."""
    if isinstance(value, float | bool):
        raise OperatorError(f'{value} must be in quotes, as "0.1", so that it stays exact')
    return parse_decimal(str(value))


def above_zero(value: object) -> Decimal:
    """An exact number in quotes, above zero."""
    found = exact(value)
    if found <= 0:
        raise OperatorError(f"{str(value)!r} must be above zero")
    return found


def section(name: str, given: object) -> Mapping[str, Any]:
    """A table of TOML, or an object of JSON."""
    if not isinstance(given, Mapping):
        raise OperatorError(f"{name} = {_shown(given)} must be a section, as [{name}]")
    return given


def read_table(given: Mapping[str, Any], readers: Mapping[str, Reader]) -> dict[str, Any]:
    """The values of ``given`` by key. Raises OperatorError with all that is wrong, key by key."""
    found: dict[str, Any] = {}
    wrong: list[str] = []
    for key, value in given.items():
        if key not in readers:
            wrong.append(f"unknown setting {key!r}: use {', '.join(readers)}")
            continue
        try:
            found[key] = readers[key](value)
        except CalloutError as error:
            wrong.append(f"{key}: {error}")
    if wrong:
        raise OperatorError("; ".join(wrong))
    return found


def _is(value: object, *kinds: type) -> bool:
    """Whether it is of these kinds; true and false are not numbers."""
    return isinstance(value, kinds) and not isinstance(value, bool)


def _shown(value: object) -> str:
    told = repr(value)
    return told if len(told) <= 80 else f"{told[:77]}..."


def listed(words: Iterable[object]) -> str:
    """``full, brief or tones``."""
    *most, last = map(str, words)
    return f"{', '.join(most)} or {last}" if most else last
