"""What each column of a foreign table means: proposed from names and cells, confirmed by a person.

A mapping is text (TOML) that can be looked at, changed and kept. What a column's name and cells do
not say is left as ``?`` and must be filled in before anything is imported; nothing is guessed
silently. Rows are read in ``importing``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import tomlkit

from callout.core.errors import OperatorError
from callout.core.heights import HIGHEST_M, LOWEST_M
from callout.core.statuses import status_named
from callout.core.units import parse_decimal
from callout.reports.stand.columns import STATUSES
from callout.survey.days import ASK, ORDERS, order_of
from callout.survey.sheets import Sheet

DECIMALS = (".", ",")
UNITS = ("in", "cm", "mm")
AREA_UNITS = ("ha", "m2", "acre")
# Words in a column's name that say what it holds (common practice), the surest first.
_NAMES = {
    "plot": ("plot", "plotid", "plotname", "plotno", "plotnumber", "parcel", "quadrat"),
    "tag": ("tag", "treetag", "tagno", "tagnumber", "tree", "treeid", "treeno", "treenumber"),
    "stem": ("stem", "stemtag", "stemid", "stemno", "stemnumber"),
    "species": ("species", "speciesname", "scientificname", "taxon", "sp", "spp"),
    "status": ("status", "state", "treestatus", "condition", "fate"),
    "date": ("date", "measurementdate", "dateofmeasurement", "eventdate", "year", "day"),
    "measured_height_m": (
        "pom",
        "pomm",
        "measuredheight",
        "measuredheightm",
        "heightofmeasurement",
        "hom",
        "measurementheight",
    ),
    "unit": ("unit", "units", "dbhunit", "dbhunits", "diameterunit", "diameterunits"),
    "who": ("who", "recorder", "observer", "measuredby", "crew"),
    "area_ha": (
        "plotareaha",
        "areaha",
        "plotarea",
        "plotaream",
        "aream",
        "plotareaacres",
        "plotareaacre",
        "plotareaac",
        "plotareahectares",
        "plotsize",
    ),
    "treatment": ("treatment",),
    "graduation": ("graduation",),
    "rounding": ("rounding",),
}
_DIAMETER = re.compile(r"dbh|diam|\bd\b|girth|gbh|circumference")
_GIRTH = re.compile(r"girth|gbh|circumference")
_UNIT_WORDS = (
    (re.compile(r"\b(in|inch|inches)\b"), "in"),
    (re.compile(r"\bmm\b|millimet"), "mm"),
    (re.compile(r"\bcm\b|centimet"), "cm"),
)
_AREA_WORDS = (
    (re.compile(r"\b(ha|hectares?)\b"), "ha"),
    (re.compile(r"\b(m|sqm|metres|meters)\b"), "m2"),
    (re.compile(r"\b(ac|acres?)\b"), "acre"),
)
_YEAR = re.compile(r"(?<!\d)(1[89]\d\d|20\d\d)(?!\d)")
_BARE_YEAR = re.compile(r"\d{4}")


@dataclass(frozen=True)
class Diameter:
    """One column of diameters: its unit, whether it holds girths, and when it was measured.

    ``date`` is a day for the whole column, ``date_column`` one for each row; ``unit_column`` holds
    each row's own unit, with ``unit`` for rows that give none.
    """

    column: str
    unit: str = ASK
    girth: bool = False
    date: str = ""
    date_column: str = ""
    unit_column: str = ""


@dataclass(frozen=True)
class TableMapping:
    """What each column means. ``columns`` maps our names to the table's.

    ``plot`` names the plot if no column does; ``year_day`` (as 07-01) dates bare years.
    No height of measurement is above ``highest_m``. ``area_unit`` is that of the column of plots'
    areas.
    """

    columns: Mapping[str, str]
    diameters: tuple[Diameter, ...]
    plot: str = ""
    decimal: str = "."
    date_order: str = "y-m-d"
    year_day: str = ""
    height_m: str = ""
    highest_m: str = str(HIGHEST_M)
    area_unit: str = ""
    statuses: Mapping[str, str] = field(default_factory=dict)

    def open_questions(self) -> list[str]:
        """What a person must still say, one sentence each; empty if nothing is open."""
        asked = []
        if "tag" not in self.columns:
            asked.append("columns.tag: which column holds the tree's tag?")
        if "plot" not in self.columns and not self.plot:
            asked.append("plot: which plot are these trees of?")
        if not self.diameters:
            asked.append("diameter: which columns hold diameters?")
        for item in self.diameters:
            if item.unit == ASK and not item.unit_column:
                asked.append(f"diameter {item.column!r}: unit in, cm or mm?")
            if not item.date and not item.date_column:
                asked.append(f"diameter {item.column!r}: date or date_column?")
        if any(_BARE_YEAR.fullmatch(item.date) for item in self.diameters) and not self.year_day:
            asked.append("year_day: which day, as 07-01, stands for a bare year?")
        if self.date_order == ASK:
            asked.append("date_order: d-m-y or m-d-y?")
        if "area_ha" in self.columns and self.area_unit in ("", ASK):
            asked.append("area_unit: ha, m2 or acre?")
        asked += [
            f"status {word!r}: which of {', '.join(STATUSES)}?"
            for word, status in self.statuses.items()
            if status == ASK
        ]
        return asked


def propose(table: Sheet) -> TableMapping:
    """The mapping that names and cells of ``table`` suggest, ``?`` where they do not say."""
    columns: dict[str, str] = {}
    for ours, names in _NAMES.items():
        found = next((name for word in names for name in table.header if _plain(name) == word), "")
        if found and found not in columns.values():
            columns[ours] = found
    date_column = columns.pop("date", "")
    unit_column = columns.pop("unit", "")
    diameters = tuple(
        _diameter(name, date_column, unit_column)
        for name in table.header
        if name not in {*columns.values(), date_column, unit_column}
        and _DIAMETER.search(_spaced(name))
    )
    used = [cell for item in diameters for cell in table.column(item.column)]
    words = table.column(columns["status"]) if "status" in columns else []
    return TableMapping(
        columns=columns,
        diameters=diameters,
        decimal="," if _has_decimal_comma(used) else ".",
        date_order=order_of(table.cells({date_column})) if date_column else "y-m-d",
        statuses={word: _proposed_status(word) for word in dict.fromkeys(words) if word},
        area_unit=_word_in(columns["area_ha"], _AREA_WORDS) or ASK if "area_ha" in columns else "",
    )


def _proposed_status(word: str) -> str:
    """Ours for a whole word; what an abbreviation means, and how a dead tree was, is asked."""
    status = status_named(word)
    return status if status in STATUSES else ASK


def _diameter(name: str, date_column: str, unit_column: str) -> Diameter:
    words, unit = _spaced(name), unit_told(name) or ASK
    year = _YEAR.search(name)
    return Diameter(
        name,
        unit,
        girth=bool(_GIRTH.search(words)),
        date=year[1] if year else "",
        date_column="" if year else date_column,
        unit_column=unit_column if unit == ASK else "",
    )


def unit_told(text: str) -> str:
    """The unit of diameters that a name or a cell contains; '' for none."""
    return _word_in(text, _UNIT_WORDS)


def _word_in(text: str, units: Sequence[tuple[re.Pattern[str], str]]) -> str:
    words = _spaced(text)
    return next((unit for pattern, unit in units if pattern.search(words)), "")


def _plain(name: str) -> str:
    return re.sub(r"[^a-z]", "", name.casefold())


def _spaced(name: str) -> str:
    """``DBH_cm`` and ``dbhCm`` as separate words."""
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return re.sub(r"[^a-z]+", " ", parted.casefold()).strip()


def _has_decimal_comma(cells: Sequence[str]) -> bool:
    commas = sum(bool(re.fullmatch(r"\d+,\d+", cell)) for cell in cells)
    points = sum(bool(re.fullmatch(r"\d+\.\d+", cell)) for cell in cells)
    return commas > points


def mapping_text(mapping: TableMapping) -> str:
    """The mapping as TOML, to be looked at and changed."""
    document = tomlkit.document()
    document.add(tomlkit.comment("What each column means. Fill in every ? before importing."))
    for name in _PLAIN:
        document[name] = getattr(mapping, name)
    document["columns"] = dict(mapping.columns)
    document["statuses"] = dict(mapping.statuses)
    rows = tomlkit.aot()
    for item in mapping.diameters:
        row = tomlkit.table()
        row.update(vars(item))
        rows.append(row)
    if mapping.diameters:
        document["diameter"] = rows
    return tomlkit.dumps(document)


def read_mapping(text: str) -> TableMapping:
    """The mapping in a TOML text. Raises OperatorError for any other text."""
    try:
        data = tomllib.loads(text)
        mapping = TableMapping(
            columns=_texts(data.get("columns", {})),
            diameters=tuple(_read_diameter(row) for row in data.get("diameter", [])),
            **{name: str(data[name]) for name in _PLAIN if name in data},
            statuses=_texts(data.get("statuses", {})),
        )
    except (tomllib.TOMLDecodeError, TypeError, KeyError, AttributeError) as error:
        raise OperatorError(f"the mapping is not whole: {error}") from None
    _check(mapping)
    return mapping


def _read_diameter(row: Mapping[str, Any]) -> Diameter:
    texts = {key: str(row[key]) for key in _TEXTS if key in row}
    return Diameter(column=str(row["column"]), girth=row.get("girth") is True, **texts)


_TEXTS = ("unit", "date", "date_column", "unit_column")
_PLAIN = ("plot", "decimal", "date_order", "year_day", "height_m", "highest_m", "area_unit")


def _texts(table: Mapping[str, Any]) -> dict[str, str]:
    return {str(key): str(value) for key, value in table.items()}


def _check(mapping: TableMapping) -> None:
    for what, value, known in (
        ("decimal", mapping.decimal, DECIMALS),
        ("date_order", mapping.date_order, (*ORDERS, ASK)),
        ("area_unit", mapping.area_unit, (*AREA_UNITS, ASK, "")),
        *(("unit", item.unit, (*UNITS, ASK)) for item in mapping.diameters),
        *(("status", status, (*STATUSES, ASK)) for status in mapping.statuses.values()),
    ):
        if value not in known:
            raise OperatorError(
                f"mapping: {what} {value!r} is none of {', '.join(filter(None, known))}"
            )
    if parse_decimal(mapping.highest_m) <= LOWEST_M:
        raise OperatorError(
            f"mapping: highest_m {mapping.highest_m!r} must be above {LOWEST_M} metres"
        )
    strange = set(mapping.columns) - ({*_NAMES, "source"} - {"date", "unit"})
    if strange:
        raise OperatorError(f"mapping: there is no column {sorted(strange)[0]!r} of ours")
