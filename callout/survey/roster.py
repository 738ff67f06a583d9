"""A roster of a table: plot, tag, species and any number of earlier measurements.

Earlier measurements are in columns ``date``, ``value``, ``unit``, repeated with a number for more
(``date2`` or ``date_2`` …). Unknown columns are kept. Every bad row is listed and then the file is
refused whole.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from callout.core.errors import OperatorError
from callout.core.heights import HIGHEST_M, parse_height_m
from callout.core.model import PastMeasurement, Tree
from callout.core.statuses import known_statuses, status_named
from callout.core.units import Unit, parse_decimal, parse_unit, too_large, too_small
from callout.grammar.words import is_tag
from callout.survey.days import ASK, order_of, read_day
from callout.survey.sheets import Sheet, parse_sheet, read_sheet

MOST_BYTES = 64 * 1024 * 1024
MOST_LISTED = 50
_HEIGHTS = ("measured_at_m", "breast_height_m")
_COLUMN = re.compile(r"(date|value|unit)[ _]?(\d*)")
_COMMA, _POINT = re.compile(r"\d+,\d+"), re.compile(r"\d+\.\d+")
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


class RosterError(OperatorError):
    """A roster with rows that cannot be used; the message lists each with its line."""


@dataclass(frozen=True)
class _Columns:
    """Which column holds what: positions by name, measurements as (date, value, unit)."""

    named: dict[str, int]
    past: tuple[tuple[int, int, int | None], ...]
    extra: tuple[tuple[str, int], ...]
    nameless: tuple[int, ...]


@dataclass(frozen=True)
class _Usual:
    """What applies if a row does not say: units of plots, else ``unit``; the order of dates.

    Heights of measurement are at most ``highest_m``; ``comma``: 24,6 is 24.6.
    """

    units: Mapping[str, Unit]
    unit: Unit
    order: str
    highest_m: Decimal = HIGHEST_M
    comma: bool = False


def read_roster(
    path: Path,
    units: Mapping[str, Unit],
    default_unit: Unit,
    dates: str = "",
    highest_m: Decimal = HIGHEST_M,
) -> tuple[Tree, ...]:
    """The trees of the CSV at ``path``.

    Sizes without a unit are in the plot's of ``units``, else in ``default_unit``. ``dates`` is the
    order of dates that do not begin with the year; ``highest_m`` the greatest height of measurement
    that is taken, in metres. Raises RosterError listing every bad row, OperatorError for a file
    that is not a CSV roster.
    """
    if not path.is_file():
        raise OperatorError(f"there is no roster at {path}")
    if path.stat().st_size > MOST_BYTES:
        raise OperatorError(f"{path} is larger than {MOST_BYTES} bytes: is it a roster?")
    return roster_of(read_sheet(path), units, default_unit, dates, highest_m)


def parse_roster(
    text: str,
    name: str,
    units: Mapping[str, Unit],
    default_unit: Unit,
    dates: str = "",
    highest_m: Decimal = HIGHEST_M,
) -> tuple[Tree, ...]:
    """The trees of a roster's CSV ``text``; ``name`` is for messages."""
    sheet = parse_sheet(text.encode("utf-8"), name)
    return roster_of(sheet, units, default_unit, dates, highest_m)


def roster_of(
    sheet: Sheet,
    units: Mapping[str, Unit],
    default_unit: Unit,
    dates: str = "",
    highest_m: Decimal = HIGHEST_M,
    decimal: str = "",
) -> tuple[Tree, ...]:
    """The trees of a table that was read. ``decimal`` is its decimal sign, where that is told."""
    name, columns = sheet.name, _columns(sheet)
    order = dates or _order(sheet.rows, columns, name)
    comma = (decimal or _decimal(sheet.rows, columns, name)) == ","
    usual = _Usual(units, default_unit, order, highest_m, comma)
    trees, faults, seen = [], [], dict[tuple[str, str], int]()
    for line, row in sheet.rows:
        try:
            tree = _tree(row, columns, len(sheet.titles), usual)
            first = seen.setdefault((tree.plot, tree.tag), line)
            if first != line:
                raise OperatorError(f"tag {tree.tag} is in plot {tree.plot} at line {first} too")
            trees.append(tree)
        except OperatorError as error:
            faults.append(f"line {line}: {error}")
    if faults:
        raise RosterError(_listed(name, faults))
    if not trees:
        raise OperatorError(f"{name} names no trees")
    return tuple(trees)


def _decimal(rows: Sequence[tuple[int, Sequence[str]]], columns: _Columns, name: str) -> str:
    """The decimal sign of the sizes. Raises OperatorError where a comma may part thousands."""
    cells = [(line, row[at]) for line, row in rows for _, at, _ in columns.past if at < len(row)]
    commas = [(line, text) for line, text in cells if _COMMA.fullmatch(text)]
    if not commas or any(_POINT.fullmatch(text) for _, text in cells):
        return "."
    if all(_THOUSANDS.fullmatch(text) for _, text in commas):
        line, text = commas[0]
        raise OperatorError(
            f"{name}, line {line}: is {text!r} a decimal comma, or thousands? say --decimal , "
            "or --decimal ."
        )
    return ","


def _order(rows: Sequence[tuple[int, Sequence[str]]], columns: _Columns, name: str) -> str:
    """The order of dates. Raises OperatorError if all end with the year: a person must say it."""
    cells = [
        (line, row[on].strip())
        for line, row in rows
        for on, _, _ in columns.past
        if on < len(row) and row[on].strip()
    ]
    try:
        found = order_of(cells)
    except OperatorError:
        return "y-m-d"  # every row that is written differently is listed
    if found == "y-m-d":
        return found
    line, text = next(cell for cell in cells if order_of([cell]) != "y-m-d")
    fits = "both would fit every row" if found == ASK else f"only {found} fits every row"
    raise OperatorError(
        f"{name}: is the day or the month first in dates as {text!r} (line {line})? say it by "
        f"--dates d-m-y or --dates m-d-y; {fits}"
    )


def _listed(name: str, faults: Sequence[str]) -> str:
    more = len(faults) - MOST_LISTED
    tail = [f"and {more} more"] if more > 0 else []
    counted = "1 row cannot" if len(faults) == 1 else f"{len(faults)} rows cannot"
    return f"{name}: {counted} be used; " + "; ".join([*faults[:MOST_LISTED], *tail])


def _columns(sheet: Sheet) -> _Columns:
    header, name = sheet.titles, sheet.name
    named: dict[str, int] = {}
    sets: dict[tuple[str, int], dict[str, int]] = {}
    extra: list[tuple[str, int]] = []
    nameless: list[int] = []
    repeats: dict[str, int] = {}
    for at, cell in enumerate(header):
        label = cell.strip().lower()
        match = _COLUMN.fullmatch(label)
        if label in ("plot", "tag", "species"):
            if label in named:
                raise OperatorError(f"{name}: column {label!r} stands twice")
            named[label] = at
        elif match:
            repeats[label] = repeats.get(label, 0) + 1
            sets.setdefault((match.group(2), repeats[label]), {})[match.group(1)] = at
        elif label:
            if cell.strip() in dict(extra):
                raise OperatorError(f"{name}: column {cell.strip()!r} stands twice")
            extra.append((cell.strip(), at))
        else:
            nameless.append(at)
    missing = [label for label in ("plot", "tag") if label not in named]
    if missing:
        known = ", ".join(filter(None, header[:12]))
        raise OperatorError(
            f"{name}: no column {missing[0]!r} in line {sheet.line}, which names {known}: name it "
            "so, or take the table by 'callout import', which asks what each column means"
        )
    for found in sets.values():
        if "date" not in found or "value" not in found:
            there = header[min(found.values())].strip()
            raise OperatorError(
                f"{name}: a column {there!r}, but earlier measurements need both 'date' and "
                "'value', the diameter: name them so, or take the table by 'callout import', which "
                "asks what each column means"
            )
    past = tuple((found["date"], found["value"], found.get("unit")) for found in sets.values())
    return _Columns(named, past, tuple(extra), tuple(nameless))


def _tree(row: Sequence[str], columns: _Columns, width: int, usually: _Usual) -> Tree:
    if len(row) > width:
        raise OperatorError(f"{len(row)} cells where the first line has {width}")
    cells = [*(cell.strip() for cell in row), *[""] * (width - len(row))]
    lost = next((at for at in columns.nameless if cells[at]), None)
    if lost is not None:
        raise OperatorError(f"{cells[lost]!r} stands in column {lost + 1}, which has no name")
    plot, tag = cells[columns.named["plot"]], cells[columns.named["tag"]].upper()
    if not plot:
        raise OperatorError("no plot")
    checked_tag(tag)
    species = cells[columns.named["species"]] if "species" in columns.named else ""
    usual = usually.units.get(plot, usually.unit)
    past = [
        _measurement(
            cells[on], cells[value], cells[unit] if unit is not None else "", usual, usually
        )
        for on, value, unit in columns.past
        if cells[on] or cells[value]
    ]
    return Tree(
        plot=plot,
        tag=tag,
        species=species,
        past=tuple(sorted(past, key=lambda item: item.on)),
        extra={
            label: _further(label, cells[at], usually.highest_m)
            for label, at in columns.extra
            if cells[at]
        },
    )


def checked_tag(tag: str) -> None:
    """Raises OperatorError for a tag that cannot be called or typed at the tree."""
    if not is_tag(tag):
        raise OperatorError(
            f"tag {tag!r} cannot be called or typed: use digits, or up to three letters and then "
            "digits, as 83, A12 or A-12"
        )


def _further(label: str, text: str, highest_m: Decimal) -> str:
    """A cell used by checks is validated, and stored in our own words; any other is kept."""
    column = label.lower().replace(" ", "_")
    if column == "status":
        status = status_named(text)
        if not status:
            raise OperatorError(f"status {text!r} is not known: use {known_statuses()}")
        return status
    if column in _HEIGHTS:
        try:
            return f"{parse_height_m(text, highest_m).normalize():f}"
        except OperatorError as error:
            ladder = "; where a ladder is used, say how high by --highest-m"
            raise OperatorError(f"{label}: {error}{ladder}") from None
    return text


def _measurement(
    on: str, value: str, unit: str, default_unit: Unit, usually: _Usual
) -> PastMeasurement:
    try:
        day = read_day(on, usually.order)
    except ValueError as error:
        raise OperatorError(f"date {on!r}: {error}: write it as 2021-07-03") from None
    if usually.comma and "." in value:
        raise OperatorError(f"value {value!r}: a point, where decimals have a comma")
    size = parse_decimal(value.replace(",", ".") if usually.comma else value)
    if size <= 0:
        raise OperatorError(f"value {value!r} must be above zero")
    shown = parse_unit(unit) if unit else default_unit
    if too_large(size, shown) or too_small(size, shown):
        raise OperatorError(
            f"value {value!r} in {shown.value} is no tree's size: which unit is it?"
        )
    return PastMeasurement(day, size, shown)
