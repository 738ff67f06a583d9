"""Archives and tables from strangers: refused soon, in little memory, with words and no traceback.

``callout new --from`` reads each in a process of its own, whose time and memory the system tells.
The ways are after common practice (members that unpack without end, one inside the other, tables of
empty cells, entities that multiply, texts nested without end, links, sparse files); all invented.
``CALLOUT_ARCHIVES`` sets how many sizes of each kind are tried (default 1).
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from test_hostile_folders import in_a_child

from callout.station.data import load_language

EACH = int(os.environ.get("CALLOUT_ARCHIVES", "1"))
MB = int(os.environ.get("CALLOUT_ARCHIVE_MB", "150"))
MOST_S, MOST_BYTES = 5.0, 300_000_000
Hostile = Callable[[Path, random.Random], Path]
LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {chr(98 + n)} "{("&" + chr(97 + n) + ";") * 10}">' for n in range(9))
    + "]><l>&j;</l>"
)


def zipped(path: Path, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


def huge(path: Path, name: str, megabytes: int, piece: bytes = b"\0") -> Path:
    """One member that unpacks to so many megabytes; written in pieces."""
    block = (piece * (1_000_000 // len(piece) + 1))[:1_000_000]
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        archive.open(name, "w", force_zip64=True) as member,
    ):
        for _ in range(megabytes):
            member.write(block)
    return path


def lying(path: Path, chance: random.Random) -> Path:
    """A member whose header says that it is small."""
    huge(path, "meta.xml", MB + chance.randrange(50))
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02")
    data[at + 24 : at + 28] = (1000).to_bytes(4, "little")
    path.write_bytes(data)
    return path


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}'
    "</sheetData></worksheet>"
)


def workbook(folder: Path, member: str, data: bytes) -> Path:
    """A real workbook, with one of its members exchanged."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.title = "measurements"
    book.create_sheet("plots")
    whole = io.BytesIO()
    book.save(whole)
    with zipfile.ZipFile(whole) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    return zipped(folder / "x.xlsx", {**members, member: data})


def cells(count: int) -> bytes:
    row = "<row>" + "<c/>" * 1000 + "</row>"
    return SHEET.format(row * (count // 1000)).encode()


def package(folder: Path, csv: bytes | None = None, descriptor: str | None = None) -> Path:
    made = folder / "package"
    made.mkdir()
    data = csv if csv is not None else b"plot,tag\n"
    (made / "measurements.csv").write_bytes(data)
    (made / "plots.csv").write_bytes(b"plot\nK1\n")
    resources = [
        {"name": path.stem, "path": path.name,
         "hash": f"sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}"}
        for path in (made / "measurements.csv", made / "plots.csv")
    ]  # fmt: skip
    text = descriptor if descriptor is not None else json.dumps({"resources": resources})
    (made / "datapackage.json").write_text(text)
    return made


def linked_table(folder: Path, chance: random.Random) -> Path:
    made = package(folder)
    (made / "measurements.csv").unlink()
    (made / "measurements.csv").symlink_to("/dev/zero")
    return made


def piped_table(folder: Path, chance: random.Random) -> Path:
    made = package(folder)
    (made / "measurements.csv").unlink()
    os.mkfifo(made / "measurements.csv")
    return made


def sparse_table(folder: Path, chance: random.Random) -> Path:
    made = package(folder)
    with (made / "measurements.csv").open("r+b") as file:
        file.truncate(20_000_000_000)
    return made


def repeated(folder: Path, chance: random.Random) -> Path:
    """A Parquet file of a few kilobytes that holds millions of equal cells."""
    parquet, arrow = pytest.importorskip("pyarrow.parquet"), pytest.importorskip("pyarrow")
    made = folder / "tables"
    made.mkdir()
    count = 5_000_000 + chance.randrange(10**6)
    column = arrow.DictionaryArray.from_arrays(arrow.nulls(count, arrow.int8()), arrow.array(["x"]))
    parquet.write_table(arrow.table({"plot": column}), made / "measurements.parquet")
    return made


def many_members(folder: Path, chance: random.Random) -> Path:
    return zipped(folder / "x.zip", {f"{n}": b"" for n in range(5000 + chance.randrange(5000))})


def cut(folder: Path, chance: random.Random) -> Path:
    path = huge(folder / "x.zip", "meta.xml", 2)
    path.write_bytes(path.read_bytes()[: -chance.randrange(1, 60)])
    return path


def garbled(folder: Path, chance: random.Random) -> Path:
    path = zipped(folder / "x.zip", {"meta.xml": b"<a/>" * 3000, "eml.xml": b"<b/>"})
    data = bytearray(path.read_bytes())
    for _ in range(20):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data)
    return path


WAYS: dict[str, Hostile] = {
    "a member of a thousand times its size": lambda f, c: huge(f / "x.zip", "meta.xml", MB),
    "a member that says it is small": lambda f, c: lying(f / "x.zip", c),
    "many members": many_members,
    "an archive in an archive": lambda f, c: zipped(
        f / "x.zip", {"meta.xml": huge(f / "y.zip", "z", MB).read_bytes()}
    ),
    "entities that multiply": lambda f, c: zipped(f / "x.zip", {"meta.xml": LAUGHS.encode()}),
    "XML without end": lambda f, c: zipped(f / "x.zip", {"meta.xml": b"<a>" * 3_000_000}),
    "an archive cut short": cut,
    "an archive garbled": garbled,
    "a workbook's sheet of a thousand times its size": lambda f, c: huge(
        f / "x.xlsx", "xl/worksheets/sheet1.xml", MB, b"<row/>"
    ),
    "a workbook of empty cells": lambda f, c: workbook(
        f, "xl/worksheets/sheet1.xml", cells(12_000_000)
    ),
    "a workbook of one wide row": lambda f, c: workbook(
        f, "xl/worksheets/sheet1.xml", SHEET.format("<row>" + "<c/>" * 10**6 + "</row>").encode()
    ),
    "a workbook with a far cell": lambda f, c: workbook(
        f, "xl/worksheets/sheet1.xml",
        SHEET.format('<row r="1"><c r="XFD1"/></row><row r="1048576"><c r="XFD1048576"/></row>')
        .encode(),
    ),
    "a workbook whose entities multiply": lambda f, c: workbook(
        f, "xl/sharedStrings.xml", LAUGHS.encode()
    ),
    "a workbook with strings of a thousand times its size": lambda f, c: huge(
        f / "x.xlsx", "xl/sharedStrings.xml", MB, b"<si><t>x</t></si>"
    ),
    "a package nested without end": lambda f, c: package(f, descriptor="[" * 100_000),
    "a package of long numbers": lambda f, c: package(
        f, descriptor='{"resources":' + "9" * 100_000 + "}"
    ),
    "a package's table of empty lines": lambda f, c: package(f, b"plot\n" + b"\n" * 60_000_000),
    "a package's table of columns": lambda f, c: package(f, b"," * 3_000_000 + b"\n"),
    "a package's table is a device": linked_table,
    "a package's table is a pipe": piped_table,
    "a package's table of 20 GB": sparse_table,
    "a Parquet file of equal cells": repeated,
}  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def _warm() -> None:
    """What the command loads is loaded before: the children's time and memory are their own."""
    import callout.cli.desk.new_command
    import callout.reports.exchange.darwincore_read
    import callout.reports.exchange.datapackage
    import callout.reports.exchange.excel  # noqa: F401

    load_language("en")


@pytest.mark.parametrize("way", WAYS)
def test_an_archive_from_a_stranger(tmp_path: Path, way: str) -> None:
    for trial in range(EACH):
        place = tmp_path / f"stranger{trial}"
        place.mkdir()
        source = WAYS[way](place, random.Random(f"{way} {trial}"))
        survey = place / "new"
        command = ["new", str(survey), "--from", str(source)]
        code, took_s, grown = in_a_child(command, tmp_path / "said.txt")
        said = (tmp_path / "said.txt").read_text(errors="replace")
        about = f"code {code} after {took_s:.1f} s, {grown / 1e6:.0f} MB: {said[-600:]}"
        assert code == 2, about
        assert said.startswith("callout: ") and "Traceback" not in said, about
        assert took_s < MOST_S, about
        assert grown < MOST_BYTES, about
        assert not survey.exists()
