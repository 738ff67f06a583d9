"""Reads a species table: a CSV of names, growth-form group and the size of a mature large tree.

A small open one comes with the program; a survey's own ``species.csv`` replaces it. Sizes there are
the upper end of "diameter range of mature large trees" in a US highway report (FHWA-RD-97-028,
table 2, after Preston 1976); groups are those of the national biomass equations, and names those of
the national reference species table; codes are the first letters of the scientific name. Beside it
lies a reference list of North American trees, for names only: numbers, names and symbols as in that
table, read in public copies (its numbers, symbols and scientific names in the source of a national
growth model; lists of its common names).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from callout.core.errors import CalloutError, OperatorError
from callout.core.species import Species
from callout.core.units import parse_decimal
from callout.survey.files import storage_errors
from callout.survey.guard import is_plain, read_plain

SPECIES_FILE = "species.csv"
SHIPPED = Path(__file__).resolve().parent.parent / "core" / "data" / SPECIES_FILE
REFERENCE = SHIPPED.with_name("reference_species.csv")
_COLUMNS = ("scientific", "common", "code", "group", "largest_cm", "source")


def species_of(survey: Path) -> tuple[Species, ...]:
    """The table of the survey folder ``survey``: its own if it has one, else the bundled one."""
    own = survey / SPECIES_FILE
    return read_species(own if is_plain(own) else SHIPPED)


def read_species(path: Path) -> tuple[Species, ...]:
    """The species at ``path``, in order.

    Raises OperatorError naming every row that cannot be used.
    """
    with storage_errors(f"cannot read {path}"):
        data = read_plain(path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise OperatorError(
            f"{path} is not UTF-8 (byte {error.start}): save it as CSV UTF-8"
        ) from None
    return parse_species(text, str(path))


@cache
def reference_species() -> tuple[Species, ...]:
    """The reference list: every tree by its number, names, symbol and synonyms; no sizes."""
    with storage_errors(f"cannot read {REFERENCE}"):
        text = REFERENCE.read_text(encoding="utf-8")
    return tuple(
        Species(
            row["scientific"],
            row["common"],
            row["code"],
            source="national reference species table",
            number=row["number"],
            synonyms=tuple(filter(None, row["synonyms"].split(";"))),
        )
        for row in csv.DictReader(io.StringIO(text, newline=""))
    )


def common_of(names: Iterable[str]) -> dict[str, str]:
    """Of those of ``names`` that are a code, a number or a scientific name: the common name."""
    known: dict[str, str] = {}
    for one in (*read_species(SHIPPED), *reference_species()) if names else ():
        for name in (one.scientific, one.code, one.number):
            known.setdefault(name.casefold(), one.common)
    found = {name: known.get(name.casefold(), "") for name in names}
    return {name: common for name, common in found.items() if common}


def common_names() -> tuple[str, ...]:
    """What the trees of the reference list and of the bundled table are called, in words only."""
    listed = (*reference_species(), *read_species(SHIPPED))
    names = (name for one in listed for name in (one.common, *one.synonyms))
    return tuple(dict.fromkeys(name for name in names if _spoken(name)))


def _spoken(name: str) -> bool:
    return bool(name) and all(map(str.isalpha, name.replace("-", " ").replace("'", "").split()))


def parse_species(text: str, name: str) -> tuple[Species, ...]:
    """The species of a table's CSV ``text``; ``name`` is for messages."""
    rows = csv.DictReader(io.StringIO(text, newline=""), strict=True)
    found: list[Species] = []
    faults: list[str] = []
    taken: dict[str, str] = {}
    try:
        _check_columns(rows.fieldnames or (), name)
        for row in rows:
            try:
                one = _species(row)
                _claim(taken, one)
                found.append(one)
            except CalloutError as error:
                faults.append(f"line {rows.line_num}: {error}")
    except csv.Error as error:
        raise OperatorError(f"{name}, line {rows.line_num}: not CSV: {error}") from None
    if faults:
        raise OperatorError(f"{name}: {len(faults)} rows cannot be used; " + "; ".join(faults))
    if not found:
        raise OperatorError(f"{name} names no species")
    return tuple(found)


def _check_columns(given: Iterable[str], name: str) -> None:
    columns = [item.strip() for item in given]
    if "scientific" not in columns:
        raise OperatorError(f"{name}: no column 'scientific' in the first line")
    unknown = [item for item in columns if item not in _COLUMNS]
    if unknown:
        raise OperatorError(
            f"{name}: unknown column {unknown[0]!r}: there is {', '.join(_COLUMNS)}"
        )


def _species(row: dict[str | None, str | list[str] | None]) -> Species:
    if None in row or None in row.values():
        raise OperatorError("not as many cells as the first line has")
    cells = {str(label).strip(): str(cell).strip() for label, cell in row.items()}
    if not cells["scientific"]:
        raise OperatorError("no scientific name")
    size = cells.pop("largest_cm", "")
    largest = parse_decimal(size) if size else None
    if largest is not None and largest <= 0:
        raise OperatorError(f"largest_cm {size!r} must be above zero")
    return Species(
        cells["scientific"],
        cells.get("common", ""),
        cells.get("code", ""),
        cells.get("group", ""),
        largest,
        cells.get("source", ""),
    )


def _claim(taken: dict[str, str], one: Species) -> None:
    """A name shared by two species would make sizes and groups a matter of chance."""
    for name in one.names:
        if name in taken and taken[name] != one.scientific:
            raise OperatorError(f"{name!r} is {taken[name]} too")
        taken[name] = one.scientific
