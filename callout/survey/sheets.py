"""Any table of trees as rows of text: CSV of any usual separator, quote and encoding, or Excel.

The one reader of ``callout new`` and ``callout import``. What is guessed is told in ``Sheet``, to
be shown to a person. No meaning is read into a cell here.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from callout.core.errors import OperatorError
from callout.survey.files import storage_errors

MOST_BYTES = 256 * 1024 * 1024
MOST_COLUMNS = 1000
SEPARATORS = (",", ";", "\t", "|")
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe\0\0", "utf-32"),
    (b"\0\0\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_LOOKED_AT = 20  # rows from which the separator and the header are told
WORKBOOKS = (".xlsx", ".xlsm")

Rows = tuple[tuple[int, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Sheet:
    """A table read: what its columns are called, rows with the line each begins at.

    ``above`` are the lines before the header that were passed over, a title or a date.
    """

    name: str
    encoding: str
    separator: str
    titles: tuple[str, ...]
    rows: Rows
    above: tuple[str, ...] = ()
    line: int = 1

    @cached_property
    def header(self) -> tuple[str, ...]:
        """The columns' names made unique; one without a name is called by its place."""
        result: dict[str, None] = {}
        for at, name in enumerate(self.titles, 1):
            plain = name or f"column {at}"
            while plain in result:
                plain = f"{plain} ({at})"
            result[plain] = None
        return tuple(result)

    def cells(self, names: Collection[str]) -> Iterator[tuple[int, str]]:
        """Every cell of the columns ``names``, each with its line."""
        for name in names:
            at = self.header.index(name)
            yield from ((line, row[at]) for line, row in self.rows if at < len(row))

    def column(self, name: str) -> list[str]:
        """Every cell of one column, '' where a row is too short."""
        at = self.header.index(name)
        return [row[at] if at < len(row) else "" for _, row in self.rows]

    @property
    def told(self) -> str:
        """How the file was read, for a person to look at."""
        how = f"{self.encoding}, separator {self.separator!r}" if self.separator else self.encoding
        above = f"; passed over above the names: {' / '.join(self.above)}" if self.above else ""
        return f"{self.name}: {len(self.rows)} rows, {how}{above}"


def read_sheet(path: Path, tab: str = "") -> Sheet:
    """The table at ``path``; of a workbook the sheet ``tab``.

    Raises OperatorError for a file that is no table, or where several sheets could be meant.
    """
    if not path.is_file():
        raise OperatorError(f"there is no file at {path}")
    if path.suffix.lower() in WORKBOOKS:
        from callout.survey.workbooks import workbook_rows

        name, rows = workbook_rows(path, tab)
        return _sheet(f"{path.name}, sheet {name}", "Excel", "", rows)
    if tab:
        raise OperatorError(f"{path} is no workbook: --sheet goes with .xlsx")
    if path.stat().st_size > MOST_BYTES:
        raise OperatorError(f"{path} is larger than {MOST_BYTES} bytes: split it first")
    with storage_errors(f"cannot read {path}"):
        data = path.read_bytes()
    return parse_sheet(data, path.name)


def parse_sheet(data: bytes, name: str) -> Sheet:
    """The table in the bytes of a CSV. Raises OperatorError for bytes that are no table."""
    text, encoding = _decoded(data, name)
    quote = "'" if _single_quoted(text) else '"'
    separator = _separator(text, quote)
    # Strict: a quote left open would swallow the rows after it without a word.
    lines = io.StringIO(text, newline="")
    reader = csv.reader(lines, delimiter=separator, quotechar=quote, strict=True)
    rows: list[tuple[int, tuple[str, ...]]] = []
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader, None)
        except csv.Error as error:
            raise OperatorError(
                f"{name}, line {line}: not CSV: {error}: mend the quotes there"
            ) from None
        if row is None:
            return _sheet(name, encoding, separator, rows)
        rows.append((line, tuple(cell.strip() for cell in row)))


def _sheet(
    name: str, encoding: str, separator: str, rows: Sequence[tuple[int, tuple[str, ...]]]
) -> Sheet:
    filled = [(line, row) for line, row in rows if any(row)]
    if not filled:
        raise OperatorError(f"{name} is empty: the first line must name the columns")
    at = _header_at([row for _, row in filled])
    line, titles = filled[at]
    for above, row in filled[:at]:
        if 2 * sum(map(bool, row)) > max(4, sum(map(bool, titles))):
            raise OperatorError(
                f"{name}: the columns seem to be named in line {line}, but line {above} above it "
                "looks like a row of the table: put the names first"
            )
    if len(titles) > MOST_COLUMNS:
        raise OperatorError(f"{name} has {len(titles)} columns: is it a table of trees?")
    passed = tuple(" ".join(filter(None, row))[:80] for _, row in filled[:at])
    return Sheet(name, encoding, separator, titles, tuple(filled[at + 1 :]), passed, line)


def _header_at(rows: Sequence[tuple[str, ...]]) -> int:
    """Which row names the columns: the one that says plot and tag, else the first wide one."""
    few = rows[:_LOOKED_AT]
    for at, row in enumerate(few):
        if {"plot", "tag"} <= {cell.casefold() for cell in row}:
            return at
    counts = [sum(map(bool, row)) for row in few]
    wide = max(2, (max(counts) + 1) // 2)
    return next((at for at, count in enumerate(counts) if count >= wide), 0)


# ---- encodings, separators, quotes ----


def _decoded(data: bytes, name: str) -> tuple[str, str]:
    """Text and the encoding taken: by its mark, else UTF-8, else Windows western European."""
    encoding = next((code for mark, code in _MARKS if data.startswith(mark)), _unmarked(data))
    if not encoding:
        raise OperatorError(f"{name} holds zero bytes and is no text: save it as CSV UTF-8")
    try:
        return data.decode(encoding), encoding
    except UnicodeDecodeError as error:
        raise OperatorError(
            f"{name} is no {encoding} text (byte {error.start}): save it as CSV UTF-8"
        ) from None


def _unmarked(data: bytes) -> str:
    """The encoding of bytes that do not begin with a mark; '' for none that is known."""
    if b"\0" in data:
        zeros = data[0::2].count(0), data[1::2].count(0)
        ends = "le" if zeros[1] > zeros[0] else "be"
        enough = max(zeros) * 2 > len(data) // 2 and not min(zeros) * 10 > len(data)
        return f"utf-16-{ends}" if enough else ""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _single_quoted(text: str) -> bool:
    """Whether the first line puts each of its cells in single quotes."""
    first = next((line.strip() for line in text.splitlines() if line.strip()), "")
    return len(first) > 2 and first[0] == first[-1] == "'" and "'" in first[1:-1]


def _separator(text: str, quote: str) -> str:
    """The separator that parts the first rows most evenly; a comma where none does."""
    best, most = ",", (0.0, 0)
    for separator in SEPARATORS:
        # Decimal commas come in some cells of some rows, separators in all of them.
        widths = _widths(text[:20_000], separator, quote)
        usual, count = Counter(widths).most_common(1)[0] if widths else (1, 0)
        if usual > 1 and (count / len(widths), usual) > most:
            best, most = separator, (count / len(widths), usual)
    return best


def _widths(text: str, separator: str, quote: str) -> list[int]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, quotechar=quote)
    found: list[int] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                found.append(len(row))
            if len(found) == _LOOKED_AT:
                break
    except csv.Error:
        pass  # reading it whole tells where
    # A title above the names stands alone in its line.
    return found[next((at for at, width in enumerate(found) if width > 1), 0) :]
