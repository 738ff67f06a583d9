"""Dated facts of plots, and named censuses, in ``survey.toml``.

    [history.K1."2018-05-01"]
    area_ha = "0.25"
    rounding = "nearest"

    [censuses]
    "winter 2018" = "2018-11-01 to 2019-02-28"

The settings of a plot hold now; its history says since when, and what held before. ``*`` in place
of a plot stands for every plot. Reads only; the reports use it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

import tomlkit

from callout.core.errors import CalloutError, OperatorError
from callout.core.given import section
from callout.core.model import PlotSettings
from callout.core.units import parse_decimal
from callout.survey.config import Config, measuring_from

SECTION, CENSUSES, EVERY = "history", "censuses", "*"
OFFSET = "tape_offset"  # what the tape reads too much, in the plot's unit; not a setting
# Key of survey.toml, and the name of the setting.
KEYS = {
    "area_ha": "area_ha",
    "treatment": "treatment",
    "graduation": "graduation",
    "rounding": "rounding",
    "scale": "scale",
    "breast_height": "breast_height_m",
    "smallest": "smallest",
    OFFSET: OFFSET,
}


@dataclass(frozen=True)
class Since:
    """Facts of ``plot`` from ``day`` on: exact texts by the names of settings."""

    plot: str
    day: date
    told: Mapping[str, str]


@dataclass(frozen=True)
class TellsCensus:
    """A named census of every plot: its days, first and last inclusive."""

    name: str
    first: date
    last: date


def plot_history(config: Config, plots: Iterable[str]) -> list[Since]:
    """The history of ``plots``, by plot and day.

    Raises OperatorError naming what cannot be used, an unknown plot, or a last value that differs
    from the plot's settings.
    """
    names = list(plots)
    found: dict[tuple[str, date], dict[str, str]] = {}
    # Facts of every plot first, so that a plot's own override them.
    for name, table in sorted(
        section(SECTION, config.other.get(SECTION, {})).items(), key=lambda one: one[0] != EVERY
    ):
        if name != EVERY and name not in names:
            known = ", ".join(names[:8])
            raise OperatorError(f"[{SECTION}.{name}] there is no such plot: there are {known}")
        for plot in names if name == EVERY else [name]:
            for day, given in _days(name, table):
                at = f"[{SECTION}.{name}.{day}]"
                found.setdefault((plot, day), {}).update(_told(at, plot, given, config.of(plot)))
    rows = [Since(plot, day, told) for (plot, day), told in sorted(found.items())]
    _refuse_other_now(rows, config)
    return rows


def _days(plot: str, table: Any) -> Iterator[tuple[date, Mapping[str, Any]]]:
    if not isinstance(table, Mapping):
        raise OperatorError(f'[{SECTION}] {plot}: write [{SECTION}.{plot}."2018-05-01"]')
    for day, given in table.items():
        if not isinstance(given, Mapping):
            raise OperatorError(f'[{SECTION}.{plot}] {day}: write [{SECTION}.{plot}."2018-05-01"]')
        yield _day(f"[{SECTION}.{plot}]", str(day)), given


def _day(where: str, text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise OperatorError(f"{where} {text!r} is no day: write 2018-05-01") from None


def _told(where: str, plot: str, given: Mapping[str, Any], now: PlotSettings) -> Mapping[str, str]:
    told: dict[str, str] = {}
    settings = {key: value for key, value in given.items() if key != OFFSET}
    for key in given:
        if key not in KEYS:
            raise OperatorError(f"{where} unknown {key!r}: use {', '.join(KEYS)}")
    try:
        then = measuring_from(plot, settings, now)
        if OFFSET in given:
            told[OFFSET] = _offset(given[OFFSET])
    except CalloutError as error:
        raise OperatorError(f"{where} {error}") from None
    for key in settings:
        told[KEYS[key]] = text_of(then, KEYS[key])
    return told


def _offset(value: Any) -> str:
    if not isinstance(value, str):
        raise OperatorError(f"{OFFSET} = {value}: write it in quotes, so that it stays exact")
    plain = value.strip()
    parse_decimal(plain.removeprefix("-"))
    return plain


def text_of(settings: PlotSettings, name: str) -> str:
    """A setting as exact text."""
    value = getattr(settings, name)
    return "" if value is None else str(getattr(value, "value", value))


def _refuse_other_now(rows: list[Since], config: Config) -> None:
    """The last value in the history must equal the settings."""
    last: dict[tuple[str, str], tuple[date, str]] = {}
    for row in rows:
        last.update({(row.plot, name): (row.day, text) for name, text in row.told.items()})
    for (plot, name), (day, text) in last.items():
        now = text if name == OFFSET else text_of(config.of(plot), name)
        if not _same(now, text):
            raise OperatorError(
                f"the history of {plot} tells {name} = {text} since {day}, its settings tell "
                f"{now or 'none'}: settings tell what holds now, so change one of the two"
            )


def _same(one: str, other: str) -> bool:
    try:
        return parse_decimal(one) == parse_decimal(other)
    except CalloutError:
        return one == other


def told_censuses(config: Config) -> list[TellsCensus]:
    """The named censuses. Raises OperatorError for days that overlap or are invalid."""
    found = []
    for name, text in section(CENSUSES, config.other.get(CENSUSES, {})).items():
        first, to, last = str(text).partition(" to ")
        if not isinstance(text, str) or not to:
            raise OperatorError(f'[{CENSUSES}] {name}: write "2018-11-01 to 2019-02-28"')
        where = f"[{CENSUSES}] {name}:"
        found.append(TellsCensus(name, _day(where, first), _day(where, last)))
        if found[-1].last < found[-1].first:
            raise OperatorError(f"{where} {last} is before {first}")
    found.sort(key=lambda one: one.first)
    for before, after in pairwise(found):
        if after.first <= before.last:
            raise OperatorError(f"[{CENSUSES}] {before.name} and {after.name} share days")
    return found


def history_text(rows: Iterable[Since], censuses: Iterable[TellsCensus] = ()) -> str:
    """The sections of ``survey.toml`` for these rows; '' for none."""
    document = tomlkit.document()
    own = {value: key for key, value in KEYS.items()}
    tables: dict[str, Any] = {}
    for row in rows:
        table = tables.setdefault(row.plot, tomlkit.table(is_super_table=True))
        table.add(str(row.day), {own[name]: text for name, text in row.told.items()})
    if tables:
        whole = tomlkit.table(is_super_table=True)
        for plot, table in tables.items():
            whole.add(plot, table)
        document.add(SECTION, whole)
    told = {one.name: f"{one.first} to {one.last}" for one in censuses}
    if told:
        document.add(CENSUSES, told)
    text = tomlkit.dumps(document)
    return f"\n{text}" if text else ""
