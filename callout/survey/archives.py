"""Reads archives and tables that may be a stranger's, counting the bytes actually unpacked.

A file's statements about its own sizes are not trusted, and nothing is unpacked to a disk. Nothing
here interprets the content.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.survey.guard import opened

MOST_ARCHIVE_BYTES = 64_000_000
"""Of an archive as it lies there, and of all that it holds once it is unpacked."""


@dataclass(frozen=True)
class Limits:
    """The most that is read of one table."""

    table_bytes: int
    cells: int


OF_STRANGERS = Limits(128_000_000, 4_000_000)
"""100,000 stems with 40 columns."""
LARGE = Limits(16_000_000_000, 4_000_000_000)
"""What somebody says is his own, or trusted: nothing but mistakes is refused."""
MOST_COLUMNS = 2_000
MOST_BOOK_CELLS = 600_000
"""Of a workbook, which is read cell by cell: 24,000 stems with 25 columns."""
MOST_XML_BYTES = 2_000_000
"""Of what is read as a tree of elements, each of which takes a hundred times its own bytes."""
_MOST_MEMBERS = 1_000
_PIECE = 1 << 16
_STRANGE = (b"<!DOCTYPE", b"<!ENTITY")


class Archive:
    """An open ZIP archive; what was unpacked of it is counted over all members."""

    def __init__(self, path: Path, archive: zipfile.ZipFile) -> None:
        self._path, self._archive = path, archive
        self._left = MOST_ARCHIVE_BYTES

    def read(self, name: str, most_bytes: int = MOST_ARCHIVE_BYTES) -> bytes:
        """A whole member. Raises KeyError if there is none, OperatorError for a bomb."""
        held = io.BytesIO()
        for piece in self._pieces(name):
            held.write(piece)
            if held.tell() > most_bytes:
                raise OperatorError(f"{self._path}: {name} has more than {most_bytes} bytes")
        return held.getvalue()

    def check_book(self) -> None:
        """Unpack every member of a workbook, discarding the bytes.

        Raises OperatorError for a bomb, for too many cells, or for XML that declares a document
        type: foreign entities are never expanded.
        """
        cells = 0
        for name in self._archive.namelist():
            tail = b""
            for piece in self._pieces(name):
                seen = tail + piece
                if any(mark in seen for mark in _STRANGE):
                    raise OperatorError(f"{self._path}: {name[:80]!r} declares a document type")
                cells += piece.count(b"<c") + piece.count(b"<row")
                tail = seen[-16:]
            if cells > MOST_BOOK_CELLS:
                raise OperatorError(
                    f"{self._path} has more than {MOST_BOOK_CELLS} cells: take it as a data package"
                )

    def _pieces(self, name: str) -> Iterator[bytes]:
        with self._archive.open(name) as member:
            while piece := member.read(_PIECE):
                self._left -= len(piece)
                if self._left < 0:
                    raise OperatorError(
                        f"{self._path} unpacks to more than {MOST_ARCHIVE_BYTES} bytes: no archive "
                        "of ours does, and it was not read on"
                    )
                yield piece


@contextmanager
def open_archive(path: Path) -> Iterator[Archive]:
    """The archive at ``path``. Raises OperatorError for one too large, OSError as ``open`` does."""
    with opened(path, MOST_ARCHIVE_BYTES) as file, zipfile.ZipFile(file) as archive:
        count = len(archive.infolist())
        if count > _MOST_MEMBERS:
            raise OperatorError(f"{path} holds {count} files: no archive of ours does")
        yield Archive(path, archive)


def read_table(path: Path, limits: Limits = OF_STRANGERS) -> bytes:
    """The bytes of a table's file. Raises as ``opened`` does."""
    with opened(path, limits.table_bytes) as file:
        return file.read(min(limits.table_bytes, path.stat().st_size))


def refuse_large(rows: int, columns: int, limits: Limits = OF_STRANGERS) -> None:
    """Raises OperatorError for a table too large for memory."""
    if columns > MOST_COLUMNS:
        raise OperatorError(f"a table has {columns} columns: no table of ours does")
    if rows * columns > limits.cells:
        raise OperatorError(
            f"a table has {rows:,} rows of {columns} cells, more than is read of a table from "
            "elsewhere: split it, or use 'callout report --large' if you trust it"
        )


def json_of(text: str) -> Any:
    """The value of a JSON text. Raises ValueError if it is invalid, or nested too deeply."""
    try:
        return json.loads(text)
    except RecursionError:
        raise ValueError("it is nested deeper than anything of ours") from None
