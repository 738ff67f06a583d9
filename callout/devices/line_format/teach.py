"""Works out pattern, unit and side of the tape from a few presses on an object of known size.

Pure. Every number in the lines is tried in every unit and on both scales; one that agrees with the
known size to 1.5 % on every press is a candidate, and is kept only if reading the lines with it
gives that size again. The closest two hypotheses (metres of girth, feet of diameter) lie 4 % apart,
so no two can agree with one size. Asking the person is the command's job.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from callout.core.errors import OperatorError
from callout.core.units import PI, Scale, Unit, convert
from callout.devices.line_format.lines import (
    LONGEST_LINE,
    LineFormat,
    Read,
    checksum_agrees,
    read_line,
)
from callout.devices.line_format.numerals import SCALE_NAMES, UNIT_NAMES, Mark, scan_number
from callout.devices.line_format.template import compile_template

PRESSES = 3
TOLERANCE = Decimal("0.015")
Token = tuple[str, str]
"""Kind (number, word, blank or mark) and text of a token."""


@dataclass(frozen=True)
class Known:
    """The size of the object pressed on: a girth (also a straight length) or a diameter."""

    size: Decimal
    unit: Unit
    scale: Scale

    @property
    def girth_mm(self) -> Decimal:
        """Its girth in millimetres."""
        return girth_mm(self.size, self.unit, self.scale)


@dataclass(frozen=True)
class Taught:
    """The result: ``unit`` and ``scale`` are None if the pattern reads them."""

    pattern: str
    unit: Unit | None
    scale: Scale | None
    mark: Mark
    readings: tuple[Read, ...]

    def line_format(self) -> LineFormat:
        """The format for reading lines."""
        scale = self.scale or Scale.DIAMETER
        return LineFormat(compile_template(self.pattern), self.unit, scale, self.mark)


def girth_mm(value: Decimal, unit: Unit, scale: Scale) -> Decimal:
    """A reading converted to a girth in millimetres."""
    size = convert(value, unit, Unit.MILLIMETRE)
    return size if scale is Scale.GIRTH else size * PI


def work_out(lines: Sequence[bytes], known: Known) -> tuple[Taught, ...]:
    """Every explanation that fits all of ``lines`` (three or more), likeliest first.

    Raises OperatorError that says what to do if there is none.
    """
    if len(lines) < PRESSES:
        raise OperatorError(f"{len(lines)} presses are too few: press {PRESSES} times")
    texts = [_text(line) for line in lines]
    found: dict[tuple[object, ...], Taught] = {}
    alike = False
    for mark in (Mark.POINT, Mark.COMMA):
        bodies, checked = _without_checksum(texts)
        rows = [_tokens(body, mark) for body in bodies]
        if not _alike(rows):
            continue
        alike = True
        for taught in _explanations(rows, checked, mark, known):
            if _reads_back(taught, lines, known):
                key = (taught.pattern, taught.unit, taught.scale)
                found.setdefault(key, _with_readings(taught, lines))
    if not alike:
        raise OperatorError(
            "the lines are not alike: press on the same thing, with the same settings, or write "
            "the pattern by hand; they were: " + " | ".join(texts)
        )
    if not found:
        raise OperatorError(
            f"no number in the lines is near {known.size} {known.unit.value} of "
            f"{known.scale.value} in any unit: check the size that was given; the lines were: "
            + " | ".join(texts)
        )
    # A unit named by the line itself is better than one worked out.
    return tuple(sorted(found.values(), key=lambda taught: taught.unit is not None))


def _text(line: bytes) -> str:
    text = line.decode("ascii", "replace").replace("\t", " ").strip(" ")
    if not text or len(text) > LONGEST_LINE or not text.isascii() or not text.isprintable():
        raise OperatorError(f"{line[:40]!r} is not readable text: is the baud rate right?")
    return text


def _without_checksum(texts: Sequence[str]) -> tuple[list[str], bool]:
    """The lines without a final ``*hh``, if each one's checksum agrees."""
    checked = all(
        text[0] in "$!" and text[-3:-2] == "*" and checksum_agrees(text, text[-2:])
        for text in texts
    )
    return [text[:-3] if checked else text for text in texts], checked


def _tokens(text: str, mark: Mark) -> list[Token]:
    tokens: list[Token] = []
    at = 0
    while at < len(text):
        kind, end = _token(text, at, mark, after_word=bool(tokens) and tokens[-1][0] != "blank")
        tokens.append((kind, text[at:end]))
        at = end
    return tokens


def _token(text: str, at: int, mark: Mark, after_word: bool) -> tuple[str, int]:
    here = text[at]
    if here.isdigit() or here == "." or (here in "+-" and not after_word):
        parts, end = scan_number(text, at)
        if parts.mark == "," and mark is Mark.POINT:
            end = at + text[at:end].index(",")
        if end > at:
            return "number", end
    if here.isalpha() or here in "\"'":
        end = at + 1
        while here.isalpha() and end < len(text) and text[end].isalpha():
            end += 1
        return "word", end
    if here == " ":
        end = at
        while end < len(text) and text[end] == " ":
            end += 1
        return "blank", end
    return "mark", at + 1


def _alike(rows: Sequence[list[Token]]) -> bool:
    """Whether the lines have the same kinds of token, and the same marks, in the same order."""
    shapes = [[kind if kind != "mark" else text for kind, text in row] for row in rows]
    return all(shape == shapes[0] for shape in shapes)


def _explanations(
    rows: Sequence[list[Token]], checked: bool, mark: Mark, known: Known
) -> list[Taught]:
    """Patterns to try: each number as the value, its own unit or any, either scale."""
    tries: list[Taught] = []
    for at, (kind, _) in enumerate(rows[0]):
        if kind != "number":
            continue
        named = _unit_after(rows[0], at)
        for scale in Scale:
            if named is not None:
                pattern, word = _pattern(rows, at, named, scale, checked)
                tries.append(Taught(pattern, None, None if word else scale, mark, ()))
            pattern, word = _pattern(rows, at, None, scale, checked)
            tries += [
                Taught(pattern, unit, None if word else scale, mark, ()) for unit in _units(named)
            ]
    return tries


def _units(named: int | None) -> tuple[Unit, ...]:
    return tuple(Unit) if named is None else ()


def _unit_after(row: list[Token], value: int) -> int | None:
    """The place of the unit of the number at ``value``: the next word, if that is a unit."""
    for at in range(value + 1, min(value + 4, len(row))):
        kind, text = row[at]
        if kind == "word":
            return at if text.lower() in UNIT_NAMES else None
        if kind == "number":
            return None
    return None


def _pattern(
    rows: Sequence[list[Token]], value: int, unit: int | None, scale: Scale, checked: bool
) -> tuple[str, bool]:
    """The pattern, and whether it reads the scale from the line.

    Text that never changed stays literal, so that a device set to another mode is refused.
    """
    parts: list[str] = []
    reads_scale = False
    for at, (kind, text) in enumerate(rows[0]):
        changes = any(row[at][1] != text for row in rows)
        if at == value:
            parts.append("{value}")
        elif at == unit:
            parts.append("{unit}")
        elif kind == "blank":
            parts.append(" ")
        elif kind == "word" and len(text) > 2 and SCALE_NAMES.get(text.lower()) is scale:
            parts.append("{scale}")
            reads_scale = True
        elif changes:
            if not parts or parts[-1] != "{skip}":
                parts.append("{skip}")
        else:
            parts.append(text.replace("{", "{{").replace("}", "}}"))
    return "".join(parts) + ("*{checksum}" if checked else ""), reads_scale


def _reads_back(taught: Taught, lines: Sequence[bytes], known: Known) -> bool:
    """Whether the pattern reads every line, and every reading gives the known size."""
    try:
        how = taught.line_format()
    except OperatorError:
        return False
    for line in lines:
        read = read_line(line, how)
        if not isinstance(read, Read):
            return False
        size = girth_mm(read.value, read.unit, read.scale)
        if abs(size / known.girth_mm - 1) > TOLERANCE:
            return False
    return True


def _with_readings(taught: Taught, lines: Sequence[bytes]) -> Taught:
    how = taught.line_format()
    read = tuple(one for line in lines if isinstance(one := read_line(line, how), Read))
    return Taught(taught.pattern, taught.unit, taught.scale, taught.mark, read)
