"""One line of text to one exact reading, or the reason why not.

Pure: takes the line's bytes and the device's format. Cutting a stream into lines is in ``framing``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from callout.core.units import Scale, Unit
from callout.devices.line_format.numerals import (
    SCALE_NAMES,
    UNIT_NAMES,
    Mark,
    number_from,
    scan_number,
)
from callout.devices.line_format.template import LONGEST_TAG, Template, scan
from callout.devices.measurement import Reason, Refused, checked_size

LONGEST_LINE = 256


@dataclass(frozen=True)
class LineFormat:
    """How a device's lines are read.

    ``unit`` and ``scale`` are used if the line names none; ``scale_names`` adds the device's own
    words for the two sides.
    """

    template: Template
    unit: Unit | None = None
    scale: Scale = Scale.DIAMETER
    mark: Mark = Mark.POINT
    scale_names: Mapping[str, Scale] = field(default_factory=dict)


@dataclass(frozen=True)
class Read:
    """The content of a line: an exact value, its unit and scale, and a tag if it carries one."""

    value: Decimal
    unit: Unit
    scale: Scale
    tag: str | None = None


def read_line(line: bytes, how: LineFormat) -> Read | Refused:
    """The reading in ``line`` (without its line end). Any bytes may be given."""
    outcome = _read(line, how)
    if isinstance(outcome, Reason):
        return Refused(outcome, raw=line[:64])
    return outcome


def _read(line: bytes, how: LineFormat) -> Read | Reason:
    if len(line) > LONGEST_LINE:
        return Reason.TOO_LONG
    text = _text(line)
    if text is None:
        return Reason.NOISE
    found = scan(how.template, text if _is_fixed(how.template) else text.lstrip(" \t"))
    if found is None or not _is_tag(found.get("tag", "")):
        return Reason.NO_MATCH
    if "checksum" in found and not checksum_agrees(text, found["checksum"]):
        return Reason.CHECKSUM
    value = _value(found["value"], how.mark)
    if isinstance(value, Reason):
        return value
    unit = UNIT_NAMES.get(found["unit"].lower()) if "unit" in found else how.unit
    if unit is None:
        return Reason.UNKNOWN_UNIT
    scale = _scale(found.get("scale"), how)
    if scale is None:
        return Reason.UNKNOWN_SCALE
    return checked_size(value, unit) or Read(value, unit, scale, found.get("tag") or None)


def _text(line: bytes) -> str | None:
    """The text if it is printable ASCII, else None: a tape sends digits and letters only."""
    try:
        text = line.decode("ascii")
    except UnicodeDecodeError:
        return None
    return text if all(" " <= letter <= "~" or letter == "\t" for letter in text) else None


def _is_tag(text: str) -> bool:
    return len(text) <= LONGEST_TAG and all(letter.isalnum() or letter in "-_" for letter in text)


def _is_fixed(template: Template) -> bool:
    return any(width for _, _, width in template.tokens)


def _value(text: str, mark: Mark) -> Decimal | Reason:
    parts, end = scan_number(text, 0)
    return number_from(parts, mark) if text and end == len(text) else Reason.NOT_A_NUMBER


def _scale(word: str | None, how: LineFormat) -> Scale | None:
    if word is None:
        return how.scale
    return how.scale_names.get(word.lower()) or SCALE_NAMES.get(word.lower())


def checksum_of(text: str) -> int:
    """The NMEA 0183 checksum of a sentence: exclusive-or of the characters between $ and *."""
    total = 0
    for letter in text[1:].partition("*")[0]:
        total ^= ord(letter) & 0xFF
    return total


def checksum_agrees(text: str, digits: str) -> bool:
    """Whether the two hex digits are the checksum of the sentence ``text``.

    ``*`` is reserved: the checksum would not cover what stands between a first and a second one.
    """
    if (
        text.count("*") != 1
        or len(digits) != 2
        or any(digit not in "0123456789abcdefABCDEF" for digit in digits)
    ):
        return False
    return int(digits, 16) == checksum_of(text.strip(" \t"))
