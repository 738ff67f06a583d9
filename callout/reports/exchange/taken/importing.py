"""Reads a foreign table by a confirmed mapping: measurements, and each refused row with a reason.

A row is taken whole or refused whole. Sizes are exact decimals: millimetres become centimetres and
girths diameters by exact decimal arithmetic, and the table's own text is kept in ``raw``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.heights import parse_height_m
from callout.core.units import (
    Scale,
    Unit,
    convert,
    diameter_from,
    parse_decimal,
    parse_unit,
    too_large,
    too_small,
)
from callout.reports.exchange.cells import WRITTEN, centimetres
from callout.reports.exchange.taken.mapping import Diameter, TableMapping, unit_told
from callout.reports.exchange.taken.told_of_plots import PLOT_FACTS, ROW_FACTS, fact_of
from callout.reports.stand.columns import LIVE
from callout.survey.days import ASK, order_of, read_day
from callout.survey.sheets import Sheet

EMPTY = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "."})
PLACES = Decimal("0.0001")  # decimal places kept of a girth's diameter


@dataclass(frozen=True)
class Refused:
    """A row that was not taken: its line, the column and text at fault, and why."""

    line: int
    column: str
    text: str
    why: str


class _RefusalError(OperatorError):
    def __init__(self, column: str, text: str, why: str) -> None:
        super().__init__(why)
        self.column, self.text, self.why = column, text, why


def import_table(table: Sheet, mapping: TableMapping) -> tuple[pd.DataFrame, tuple[Refused, ...]]:
    """The measurements frame and the rows refused.

    Raises OperatorError if the mapping has open questions or names a column that does not exist.
    """
    asked = mapping.open_questions()
    if asked:
        raise OperatorError("the mapping is not finished: " + "; ".join(asked))
    _check_columns(table, mapping)
    if "graduation" in mapping.columns and any(item.girth for item in mapping.diameters):
        raise OperatorError(
            "a girth's graduation is not one of its diameter: take graduation out of the mapping"
        )
    order_of(table.cells({item.date_column for item in mapping.diameters if item.date_column}))
    taken: list[dict[str, object]] = []
    refused: list[Refused] = []
    seen: dict[tuple[object, ...], int] = {}
    told: dict[tuple[object, ...], tuple[object, int]] = {}
    facts = [name for name in ROW_FACTS if name in mapping.columns]
    for line, cells in table.rows:
        try:
            rows = list(_measurements(_named(table, cells), mapping))
            _refuse_twice(rows, seen, line)
            _refuse_other(rows, told, line, mapping)
            taken += rows
        except _RefusalError as error:
            refused.append(Refused(line, error.column, error.text[:200], error.why))
    _units_of_plots(taken)
    columns = [*WRITTEN, "diameter_cm", "raw", "raw_unit", "who", *facts]
    frame = pd.DataFrame(taken, columns=columns)
    kinds = {"date": "datetime64[us]", "diameter_cm": "float64", "measured_height_m": "float64"}
    frame[facts] = frame[facts].astype(object).fillna("")
    return frame.astype(kinds), tuple(refused)


def _units_of_plots(taken: list[dict[str, object]]) -> None:
    """A state without a diameter has no unit of its own: it gets the usual one of its plot."""
    usual: dict[object, Counter[object]] = {}
    for row in taken:
        if row["value"] is not None:
            usual.setdefault(row["plot"], Counter())[row["unit"]] += 1
    for row in taken:
        if row["value"] is None and row["plot"] in usual:
            row["unit"] = usual[row["plot"]].most_common(1)[0][0]


def _check_columns(table: Sheet, mapping: TableMapping) -> None:
    named = [*mapping.columns.values(), *(item.column for item in mapping.diameters)]
    named += [item.date_column for item in mapping.diameters if item.date_column]
    named += [item.unit_column for item in mapping.diameters if item.unit_column]
    for name in named:
        if name not in table.header:
            known = ", ".join(table.header[:20])
            raise OperatorError(f"{table.name} has no column {name!r}: there are {known}")


def _named(table: Sheet, cells: tuple[str, ...]) -> dict[str, str]:
    if len(cells) != len(table.header):
        why = f"{len(cells)} cells where the header has {len(table.header)}"
        raise _RefusalError("", table.separator.join(cells), why)
    return dict(zip(table.header, cells, strict=True))


def _refuse_twice(
    rows: list[dict[str, object]], seen: dict[tuple[object, ...], int], line: int
) -> None:
    keys = [tuple(row[name] for name in ("plot", "tag", "stem", "date")) for row in rows]
    for key in keys:
        if key in seen:
            why = f"the same stem and day as in line {seen[key]}"
            raise _RefusalError("", " ".join(str(part) for part in key[:3]), why)
    seen.update(dict.fromkeys(keys, line))


def _refuse_other(
    rows: list[dict[str, object]],
    told: dict[tuple[object, ...], tuple[object, int]],
    line: int,
    mapping: TableMapping,
) -> None:
    """A plot has one area and one treatment a day: what its first row of the day tells."""
    for row in rows:
        for name in (name for name in PLOT_FACTS if row.get(name)):
            was, where = told.setdefault((row["plot"], row["date"], name), (row[name], line))
            if was != row[name]:
                column = mapping.columns[name]
                why = (
                    f"another {column} of {row['plot']} than line {where} tells for that day: if "
                    "it is the tree's, take the column out of the mapping"
                )
                raise _RefusalError(column, str(row[name]), why)


def _measurements(row: dict[str, str], mapping: TableMapping) -> Iterator[dict[str, object]]:
    """One measurement for each diameter column that has a value or state in this row."""

    def cell(ours: str) -> str:
        return row[mapping.columns[ours]] if ours in mapping.columns else ""

    tag = cell("tag")
    if tag.casefold() in EMPTY:
        raise _RefusalError(mapping.columns["tag"], tag, "there is no tag")
    plot = cell("plot") or mapping.plot
    if not plot:
        raise _RefusalError(mapping.columns.get("plot", ""), "", "there is no plot")
    status = _status(cell("status"), mapping)
    height = _height(cell("measured_height_m") or mapping.height_m, mapping)
    facts = {name: _fact(name, cell(name), mapping) for name in ROW_FACTS if cell(name)}
    for item, value, unit, day, state in _states(row, status, mapping):
        yield {
            "plot": plot,
            "tag": tag,
            "stem": cell("stem"),
            "species": cell("species"),
            "date": pd.Timestamp(day),
            "value": value,
            "unit": unit.value,
            "status": state,
            "measured_height_m": height,
            "source": "roster",
            "diameter_cm": centimetres(value, unit),
            "raw": row[item.column],
            "who": cell("who"),
            "raw_unit": f"{item.unit} girth" if item.girth else item.unit,
            **facts,
        }


def _states(
    row: dict[str, str], status: str, mapping: TableMapping
) -> Iterator[tuple[Diameter, Decimal | None, Unit, date, str]]:
    """Each diameter with its day and the stem's state then.

    A row's state is that of its last visit: if the columns are of several days, the earlier
    diameters are of a live stem. A state other than live needs no diameter.
    """
    own = [_own_unit(row, item) for item in mapping.diameters]
    sizes = [(item, *_size(row[item.column], item, mapping)) for item in own]
    if status == LIVE:
        found = [(*size, _when(row, size[0], mapping), status) for size in sizes if size[1]]
        if not found:
            names = ", ".join(item.column for item in mapping.diameters)
            raise _RefusalError(names, "", "a live stem without any diameter")
        yield from found
        return
    dated = [(*size, _when(row, size[0], mapping)) for size in sizes]
    newest = max(day for *_, day in dated)
    told = False
    for item, value, unit, day in dated:
        if value is not None:
            told = told or day == newest
            yield item, value, unit, day, status if day == newest else LIVE
    if not told:
        item, _, unit, _ = next(one for one in dated if one[3] == newest)
        yield item, None, unit, newest, status


def _status(text: str, mapping: TableMapping) -> str:
    if not text:
        return LIVE
    status = mapping.statuses.get(text)
    if status is None:
        raise _RefusalError(mapping.columns["status"], text, "a status the mapping does not name")
    return status


def _pointed(text: str, column: str, mapping: TableMapping) -> str:
    if mapping.decimal == "," and "." in text:
        raise _RefusalError(column, text, "a point where decimals have a comma")
    return text.replace(",", ".", 1) if mapping.decimal == "," else text


def _number(text: str, column: str, mapping: TableMapping) -> Decimal:
    try:
        return parse_decimal(_pointed(text, column, mapping))
    except OperatorError:
        wanted = f"24{mapping.decimal}6"
        raise _RefusalError(column, text, f"not a number such as {wanted}") from None


def _own_unit(row: dict[str, str], item: Diameter) -> Diameter:
    """``item`` in the unit given in the row. Refused if neither row nor mapping gives one."""
    text = row[item.unit_column] if item.unit_column else ""
    if text.casefold() in EMPTY:
        if item.unit == ASK and row[item.column].casefold() not in EMPTY:
            raise _RefusalError(item.unit_column, text, "no unit: in, cm or mm")
        return replace(item, unit="cm") if item.unit == ASK else item
    unit = unit_told(text)
    if not unit:
        raise _RefusalError(item.unit_column, text, "not a unit of diameters: in, cm or mm")
    return replace(item, unit=unit)


def _size(text: str, item: Diameter, mapping: TableMapping) -> tuple[Decimal | None, Unit]:
    """Diameter in inches or centimetres; None for an empty cell."""
    given = parse_unit(item.unit)
    unit = Unit.INCH if given is Unit.INCH else Unit.CENTIMETRE
    if text.casefold() in EMPTY:
        return None, unit
    value = _number(text, item.column, mapping)
    if value <= 0:
        raise _RefusalError(item.column, text, "a size of zero or below")
    value = convert(value, given, unit)
    if item.girth:
        value = diameter_from(value, Scale.GIRTH).quantize(PLACES)
    if too_large(value, unit):
        raise _RefusalError(item.column, text, "wider than any tree: which unit is it?")
    if too_small(value, unit):
        raise _RefusalError(item.column, text, "too small to be a stem")
    return value, unit


def _height(text: str, mapping: TableMapping) -> float:
    if text.casefold() in EMPTY:
        return float("nan")
    column = mapping.columns.get("measured_height_m", "height_m")
    pointed = _pointed(text, column, mapping)
    try:
        return float(parse_height_m(pointed, parse_decimal(mapping.highest_m)))
    except OperatorError as error:
        raise _RefusalError(column, text, str(error)) from None


def _fact(name: str, text: str, mapping: TableMapping) -> str:
    if text.casefold() in EMPTY:
        return ""
    column = mapping.columns[name]
    try:
        return fact_of(name, _pointed(text, column, mapping), mapping.area_unit)
    except OperatorError as error:
        raise _RefusalError(column, text, str(error)) from None


def _when(row: dict[str, str], item: Diameter, mapping: TableMapping) -> date:
    text = row[item.date_column] if item.date_column else item.date
    column = item.date_column or item.column
    try:
        return read_day(text, mapping.date_order, mapping.year_day)
    except ValueError as error:
        raise _RefusalError(column, text, str(error)) from None
