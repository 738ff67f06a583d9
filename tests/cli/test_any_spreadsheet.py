"""Forty invented tables as offices keep them: read rightly, or refused with the row and reason.

Each goes through ``callout new``; what it makes is held against the same three trees. None may be
read wrongly: a table is either these very trees, in this order, or refused.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from callout.cli.main import main
from callout.core.model import Tree
from callout.journal.folder import SurveyFolder

HEAD = ("plot", "tag", "species", "date", "value", "unit")
ROWS = (
    ("K1", "83", "chêne rouge", "2021-07-14", "24.6", "in"),
    ("K1", "A7", "érable, à sucre", "2021-07-15", "8.0", "in"),
    ("K2", "12", "pin blanc", "2021-07-16", "31.2", "cm"),
)
COMMAS = tuple((*row[:4], row[4].replace(".", ","), row[5]) for row in ROWS)
TURNED = tuple((*row[:3], "/".join(reversed(row[3].split("-"))), *row[4:]) for row in ROWS)


def text(
    rows: Sequence[Sequence[str]] = ROWS,
    head: Sequence[str] = HEAD,
    separator: str = ",",
    quote: str = '"',
    every: bool = False,
    ending: str = "\n",
) -> str:
    """The table as a CSV, by Python's own writer."""
    made = io.StringIO()
    how = csv.QUOTE_ALL if every else csv.QUOTE_MINIMAL
    writer = csv.writer(
        made, delimiter=separator, quotechar=quote, quoting=how, lineterminator=ending
    )
    writer.writerows([head, *rows])
    return made.getvalue()


def changed(row: int, column: int, cell: str) -> tuple[tuple[str, ...], ...]:
    """The rows with one cell another."""
    rows = [list(item) for item in ROWS]
    rows[row][column] = cell
    return tuple(map(tuple, rows))


def book(rows: Sequence[Sequence[Any]], *more: str, merged: str = "") -> bytes:
    """A workbook with these rows; ``more`` sheets that hold something."""
    made, held = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        made.active.append(list(row))
    for row in made.active.iter_rows():
        for cell in row:
            if isinstance(cell.value, float):
                cell.number_format = "0.0"
    for name in more:
        made.create_sheet(name).append(["something"])
    if merged:
        made.active.merge_cells(merged)
    made.save(held)
    return held.getvalue()


TYPED = tuple(
    (row[0], int(row[1]) if row[1].isdecimal() else row[1], row[2],
     datetime.fromisoformat(row[3]), float(row[4]), row[5])
    for row in ROWS
)  # fmt: skip
NOISY = [(*TYPED[0][:4], 24.600000000000001, "in"), *TYPED[1:]]

READ: dict[str, tuple[bytes, tuple[str, ...]]] = {
    "plain": (text().encode(), ()),
    "byte-order mark": (text().encode("utf-8-sig"), ()),
    "windows line ends": (text(ending="\r\n").encode(), ()),
    "old line ends": (text(ending="\r").encode(), ()),
    "every cell quoted": (text(every=True).encode(), ()),
    "single quotes": (text(quote="'", every=True).encode(), ()),
    "semicolons": (text(separator=";").encode(), ()),
    "tabs": (text(separator="\t").encode(), ()),
    "bars": (text(separator="|").encode(), ()),
    "semicolons, decimal commas": (text(COMMAS, separator=";").encode(), ()),
    "commas quoted, decimal commas": (text(COMMAS).encode(), ()),
    "latin-1": (text(separator=";").encode("latin-1"), ()),
    "windows-1252, tabs": (text(separator="\t").encode("cp1252"), ()),
    "utf-16 with mark": (text(separator="\t").encode("utf-16"), ()),
    "utf-16 little": (text(separator="\t").encode("utf-16-le"), ()),
    "utf-16 big": (text(separator=";").encode("utf-16-be"), ()),
    "utf-32": (text().encode("utf-32"), ()),
    "blank rows": (text().replace("\nK1,A7", "\n\n,,,,,\nK1,A7").encode() + b"\n\n", ()),
    "a title above": (b"Harrow Fen, 2021\n\n" + text().encode(), ()),
    "a wide title above": (b"Harrow Fen;;;;;\n" + text(separator=";").encode(), ()),
    "capitals and spaces": (text(head=[f" {name.upper()} " for name in HEAD]).encode(), ()),
    "columns in another order": (
        text([row[::-1] for row in ROWS], HEAD[::-1]).encode(), (),
    ),
    "days first": (text(TURNED).encode(), ("--dates", "d-m-y")),
    "named months": (text(changed(0, 3, "14 July 2021")).encode(), ()),
    "times of day": (text(changed(0, 3, "2021-07-14 09:15:00")).encode(), ()),
    "workbook of texts": (book([HEAD, *ROWS]), ()),
    "workbook of days and numbers": (book([HEAD, *TYPED]), ()),
    "workbook, merged title": (book([["Fen"], [], HEAD, *TYPED], merged="A1:F1"), ()),
    "workbook, a figure's noise": (book([HEAD, *NOISY]), ()),
    "workbook of several sheets": (book([HEAD, *TYPED], "notes"), ("--sheet", "Sheet")),
}  # fmt: skip
REFUSED: dict[str, tuple[bytes, str]] = {
    "days or months first": (text(TURNED[:1]).replace("14/", "04/").encode(), "--dates"),
    "two ways of dates": (text(changed(1, 3, "15/07/2021")).encode(), "line 3"),
    "thousands or decimals": (
        text([(*ROWS[0][:4], "1,234", "mm")], separator=";").encode(), "line 2",
    ),
    "points and commas": (text(changed(1, 4, "8,0"), separator=";").encode(), "line 3"),
    "a comma that parts cells": (b"plot,tag,date,value\nK1,83,2021-07-14,24,6\n", "line 2"),
    "a state in short": (
        b"plot,tag,status\nK1,83,live\nK1,84,D\n", "line 3: status 'D' is not known",
    ),
    "a unit that is none": (text(changed(2, 5, "rods")).encode(), "line 4"),
    "an open quote": (b'plot,tag,species\nK1,83,"oak\nK1,84,elm\n', "line 2"),
    "names in another language": (b"Parcelle;Arbre\nK1;83\n", "callout import"),
    "a sum below": (text().encode() + b"Sum,,,,63.8,\n", "line 5"),
    "a tag that became a day": (
        book([HEAD, ("K1", datetime(2021, 5, 3), "oak", *TYPED[0][3:])]), "line 2: tag",  # noqa: DTZ001
    ),
    "a formula without its figure": (book([HEAD, (*ROWS[0][:4], "=24+0.6", "in")]), "cell E2"),
    "an error in a cell": (book([HEAD, (*ROWS[0][:4], "#REF!", "in")]), "shows #REF!"),
    "several sheets": (book([HEAD, *TYPED], "notes"), "--sheet"),
    "a broken workbook": (b"PK\x03\x04 no workbook", "cannot be read as a workbook"),
    "a row above the names": (text().encode().replace(b"plot", b"K1,1,oak,,8,in\nplot"), "line 1"),
}  # fmt: skip


def trees_of(path: Path) -> list[Tree]:
    with SurveyFolder(path).reading() as reader:
        return [tree for plot in reader.plots().values() for tree in plot.trees.values()]


def make(where: Path, data: bytes, *options: str) -> int:
    table = where / ("trees.xlsx" if data.startswith(b"PK") else "trees.csv")
    table.write_bytes(data)
    return main(["new", str(where / "fen"), "--trees", str(table), *options])


@pytest.mark.parametrize("name", READ)
def test_it_is_read_rightly(name: str, tmp_path: Path) -> None:
    data, options = READ[name]
    assert make(tmp_path, data, *options) == 0
    told = [
        (tree.plot, tree.tag, tree.species, str(tree.past[0].on), str(tree.past[0].value),
         tree.past[0].unit.value)
        for tree in trees_of(tmp_path / "fen")
    ]  # fmt: skip
    assert told == list(ROWS)


@pytest.mark.parametrize("name", REFUSED)
def test_it_is_refused_with_the_row_and_reason(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, says = REFUSED[name]
    assert make(tmp_path, data) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "fen").exists()


def test_there_are_forty() -> None:
    assert len(READ) + len(REFUSED) >= 40


def test_a_preview_makes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert make(tmp_path, text(COMMAS, separator=";").encode("latin-1"), "--preview") == 0
    out = capsys.readouterr().out
    assert "cp1252, separator ';'" in out and "3 trees in 2 plots, 3 earlier sizes" in out
    assert "K1 83 chêne rouge: 2021-07-14 24.6 in" in out
    assert not (tmp_path / "fen").exists()


def test_import_reads_the_same_and_keeps_the_walk(tmp_path: Path) -> None:
    """By a mapping, from a workbook; the next survey's roster has the table's order."""
    walk = ("9", "2", "A7", "1")
    rows = [("K1", tag, datetime(2021 + at % 2, 7, 14), 20.5 + at) for at, tag in enumerate(walk)]  # noqa: DTZ001
    (tmp_path / "t.xlsx").write_bytes(book([("Plot", "Tree no", "Date", "DBH cm"), *rows]))
    out = tmp_path / "taken"
    assert main(["import", str(tmp_path / "t.xlsx"), "--out", str(out), "--yes"]) == 0
    for source in (["--from", str(out)], ["--trees", str(out / "roster.csv")]):
        fen = tmp_path / f"fen{source[0]}"
        assert main(["new", str(fen), *source]) == 0
        trees = trees_of(fen)
        assert tuple(tree.tag for tree in trees) == walk
        assert [tree.past[0].value for tree in trees] == [
            Decimal(f"{20.5 + at}") for at in range(4)
        ]
        assert trees[0].past[0].on == date(2021, 7, 14)
