"""Events, readings and rosters as canonical JSON, exact both ways.

Decimals are written as text. Canonical means sorted keys, no spaces, UTF-8: the same value always
gives the same bytes, so that hashes can be compared.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from callout.core.errors import StorageError
from callout.core.events import Event, Heard, Opened, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, PlotSettings, Reading, Tree
from callout.core.rounding import Rounding
from callout.core.saying import saying_from
from callout.core.units import Scale, Unit
from callout.journal.schema import LATER_COLUMNS

KINDS: dict[str, type[Opened] | type[Heard] | type[TimedOut]] = {
    "opened": Opened,
    "heard": Heard,
    "timed_out": TimedOut,
}
_MOST_FIGURES = 100
_SWITCHES = ("is_new", "void", "tag_lost")  # stored as 0 or 1
_ALREADY_PLAIN = frozenset({str, int, bool, type(None)})
_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)
_KIND_OF = {kind: name for name, kind in KINDS.items()}


def stamp(at: datetime) -> str:
    """A time as entries store it: with its zone's offset, to the millisecond."""
    return at.isoformat(timespec="milliseconds")


def canonical(value: Any) -> str:
    """The canonical JSON text of ``value``."""
    return _CANONICAL.encode(value)


def _plain(value: Any) -> Any:
    if type(value) in _ALREADY_PLAIN:
        return value
    if isinstance(value, Decimal | date):
        return str(value)
    if isinstance(value, Unit | Scale | Rounding):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value


def event_parts(event: Event) -> tuple[str, dict[str, Any]]:
    """The entry kind of ``event`` and its body; entry number and time are stored beside them."""
    body = {item.name: getattr(event, item.name) for item in fields(event)}
    del body["entry"], body["at"]
    if isinstance(event, Heard):
        body["meanings"] = [meaning.as_json() for meaning in event.meanings]
        body["problem"] = None if event.problem is None else event.problem.as_json()
    return _KIND_OF[type(event)], _plain(body)


def event_from(entry: int, at: str, kind: str, body: Mapping[str, Any]) -> Event | None:
    """The event of a journal entry, or None for entries that hold no session event."""
    if kind not in KINDS:
        return None
    given = dict(body)
    if kind == "heard":
        given["meanings"] = tuple(Meaning.from_json(item) for item in given["meanings"])
        given["confidence"] = _decimal(given.get("confidence"))
        # A plain text, in journals from before sayings had keys.
        problem = given.get("problem")
        given["problem"] = None if problem is None else saying_from(problem)
    try:
        return KINDS[kind](entry=entry, at=at, **given)
    except TypeError as error:
        raise StorageError(f"journal entry {entry} is not understood: {error}") from error


def _decimal(text: str | None) -> Decimal | None:
    """An exact number. Raises StorageError for one that cannot be a reading."""
    if text is None:
        return None
    if len(text) <= _MOST_FIGURES:
        with suppress(ArithmeticError):
            number = Decimal(text)
            if number.is_finite() and abs(number.adjusted()) <= _MOST_FIGURES:
                return number
    raise StorageError(f"a number in the journal is none: {text[:40]!r}")


def reading_row(reading: Reading) -> dict[str, Any]:
    """A reading as plain columns; exact numbers as text, warnings as JSON."""
    row: dict[str, Any] = {name: _plain(value) for name, value in vars(reading).items()}
    row["warnings"] = canonical(list(reading.warnings))
    for name in _SWITCHES:
        row[name] = int(row[name])
    return row


def reading_from(row: Mapping[str, Any]) -> Reading:
    """The reading written by ``reading_row``."""
    known = {**LATER_COLUMNS["readings"], **dict(row)}
    given = {item.name: known[item.name] for item in fields(Reading)}
    for name in ("raw", "value", "confidence", "height_m"):
        given[name] = _decimal(given[name])
    given["raw_unit"] = Unit(given["raw_unit"]) if given["raw_unit"] else None
    given["unit"] = Unit(given["unit"])
    given["warnings"] = tuple(json.loads(given["warnings"]))
    for name in _SWITCHES:
        given[name] = bool(given[name])
    return Reading(**given)


def roster_body(trees: tuple[Tree, ...]) -> dict[str, Any]:
    """The whole roster as one journal entry's body."""
    return {"trees": [_plain(asdict(tree)) for tree in trees]}


def trees_from(body: Mapping[str, Any]) -> tuple[Tree, ...]:
    """The roster written by ``roster_body``."""
    return tuple(
        Tree(
            plot=item["plot"],
            tag=item["tag"],
            species=item["species"],
            past=tuple(
                PastMeasurement(
                    date.fromisoformat(past["on"]), Decimal(past["value"]), Unit(past["unit"])
                )
                for past in item["past"]
            ),
            extra=item["extra"],
        )
        for item in body["trees"]
    )


def settings_body(plots: Mapping[str, PlotSettings]) -> dict[str, Any]:
    """How each plot is measured, as a journal entry's body."""
    return {"plots": {name: _plain(asdict(item)) for name, item in plots.items()}}


def settings_from(body: Mapping[str, Any]) -> dict[str, PlotSettings]:
    """The settings written by ``settings_body``."""
    return {name: plot_settings(name, item) for name, item in body["plots"].items()}


def plot_settings(plot: str, item: Mapping[str, Any]) -> PlotSettings:
    """One plot's settings from plain values, decimals as text."""
    return PlotSettings(
        plot=plot,
        unit=Unit(item["unit"]),
        graduation=Decimal(item["graduation"]),
        rounding=Rounding(item["rounding"]),
        scale=Scale(item["scale"]),
        breast_height_m=Decimal(item["breast_height_m"]),
        smallest=Decimal(item["smallest"]),
        largest=Decimal(item["largest"]),
        implied_point=bool(item["implied_point"]),
        decimal_comma=bool(item.get("decimal_comma", False)),
        area_ha=_decimal(item.get("area_ha")),
        treatment=str(item.get("treatment", "")),
        site=str(item.get("site", "")),
        shape=str(item.get("shape", "")),
        established=str(item.get("established", "")),
        paint_line=item.get("paint_line"),
    )
