"""Any CSV as rows of text, with its encoding, separator and each row's line number.

Guesses are recorded in ``Foreign`` and can be overridden in the mapping. No cell is interpreted.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from callout.core.errors import OperatorError
from callout.survey.files import storage_errors

MOST_BYTES = 256 * 1024 * 1024
MOST_COLUMNS = 1000
SEPARATORS = (",", ";", "\t", "|")
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


@dataclass(frozen=True)
class Foreign:
    """A parsed table: header names made unique, and rows with the line each begins at."""

    name: str
    encoding: str
    separator: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    def cells(self, names: Collection[str]) -> Iterator[tuple[int, str]]:
        """Every cell of the columns ``names``, each with its line."""
        for name in names:
            at = self.header.index(name)
            yield from ((line, row[at]) for line, row in self.rows if at < len(row))

    def column(self, name: str) -> list[str]:
        """Every cell of one column, '' where a row is too short."""
        at = self.header.index(name)
        return [row[at] if at < len(row) else "" for _, row in self.rows]


def read_foreign(path: Path) -> Foreign:
    """The table at ``path``. Raises OperatorError for a file that is not a table."""
    if not path.is_file():
        raise OperatorError(f"there is no file at {path}")
    if path.stat().st_size > MOST_BYTES:
        raise OperatorError(f"{path} is larger than {MOST_BYTES} bytes: split it first")
    with storage_errors(f"cannot read {path}"):
        data = path.read_bytes()
    return parse_foreign(data, path.name)


def parse_foreign(data: bytes, name: str) -> Foreign:
    """The table in ``data``. Raises OperatorError for bytes that are not a table."""
    text, encoding = _decoded(data)
    separator = _separator(text)
    # Strict: otherwise an open quote would silently swallow the rows after it.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[tuple[int, tuple[str, ...]]] = []
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader, None)
        except csv.Error as error:
            raise OperatorError(f"{name}, line {line}: {error}: mend the quotes there") from None
        if row is None:
            break
        if any(cell.strip() for cell in row):
            rows.append((line, tuple(cell.strip() for cell in row)))
    if not rows:
        raise OperatorError(f"{name} is empty: the first line must name the columns")
    if len(rows[0][1]) > MOST_COLUMNS:
        raise OperatorError(f"{name} has {len(rows[0][1])} columns: is it a table of trees?")
    return Foreign(name, encoding, separator, _unique(rows[0][1]), tuple(rows[1:]))


def _decoded(data: bytes) -> tuple[str, str]:
    """The text and its encoding: by its byte order mark, else UTF-8, else Windows Western."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace"), encoding
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "cp1252"


def _separator(text: str) -> str:
    """The separator that splits the first lines most evenly; a comma if none does."""
    lines = [line for line in text[:20_000].splitlines() if line.strip()][:20]
    best, most = ",", (0.0, 0)
    for separator in SEPARATORS:
        counts = [line.count(separator) for line in lines]
        if not counts or counts[0] == 0:
            continue
        # As in the header: some cells have decimal commas, but every row has its separators.
        even = sum(count == counts[0] for count in counts) / len(counts)
        if (even, counts[0]) > most:
            best, most = separator, (even, counts[0])
    return best


def _unique(names: tuple[str, ...]) -> tuple[str, ...]:
    """Header names, repeated ones numbered; nameless columns get a name."""
    result: dict[str, None] = {}
    for at, name in enumerate(names, 1):
        plain = name or f"column {at}"
        while plain in result:
            plain = f"{plain} ({at})"
        result[plain] = None
    return tuple(result)
