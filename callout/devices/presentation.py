"""Characteristic Presentation Format: a Bluetooth value that describes itself.

Descriptor 0x2904 of the Bluetooth SIG, seven bytes, little-endian: format uint8, exponent sint8,
unit uint16, name space uint8, description uint16. Integers mean ``value * 10 ** exponent`` of
the unit. Pure; who reads the descriptor is ``ble``.

A float32 or float64 is taken as the shortest decimal that encodes to the same bits: the number
its maker typed in, since 24.6 has no exact binary form. The medical floats of IEEE 11073-20601
are decimal and so exact; their reserved mantissas (NaN, not at this resolution, infinities) are
refused.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from decimal import Decimal

from callout.core.units import EXACT, Scale, Unit
from callout.devices.line_format.lines import Read
from callout.devices.measurement import Reason, Refused, checked_size

# Code: bits, signed. Formats of the SIG's assigned numbers that hold an integer.
INTEGERS = {
    0x02: (2, False),
    0x03: (4, False),
    0x04: (8, False),
    0x05: (12, False),
    0x06: (16, False),
    0x07: (24, False),
    0x08: (32, False),
    0x09: (48, False),
    0x0A: (64, False),
    0x0B: (128, False),
    0x0C: (8, True),
    0x0D: (12, True),
    0x0E: (16, True),
    0x0F: (24, True),
    0x10: (32, True),
    0x11: (48, True),
    0x12: (64, True),
    0x13: (128, True),
}
FLOAT32, FLOAT64, SFLOAT, FLOAT, UTF8 = 0x14, 0x15, 0x16, 0x17, 0x19
NAMED = {
    0x01: "boolean",
    FLOAT32: "float32",
    FLOAT64: "float64",
    SFLOAT: "SFLOAT",
    FLOAT: "FLOAT",
    0x18: "pair of uint16",
    UTF8: "text",
    0x1A: "UTF-16 text",
    0x1B: "structure",
}

# Unit codes of length: our unit, and how many of it one is (a yard is three feet).
LENGTHS = {
    0x2701: (Unit.METRE, Decimal(1)),
    0x27A0: (Unit.FOOT, Decimal(3)),
    0x27A2: (Unit.INCH, Decimal(1)),
    0x27A3: (Unit.FOOT, Decimal(1)),
}
SIG_NAMES = 1


@dataclass(frozen=True)
class PresentationFormat:
    """The parsed seven bytes of a descriptor."""

    format: int
    exponent: int
    unit: int
    name_space: int
    description: int

    @property
    def is_length(self) -> bool:
        """Whether this describes one number that is a length."""
        numeric = self.format in INTEGERS or self.format in (FLOAT32, FLOAT64, SFLOAT, FLOAT)
        return numeric and self.unit in LENGTHS

    @property
    def is_text(self) -> bool:
        """Whether the value is text, to be read by a line pattern."""
        return self.format == UTF8

    def told(self) -> str:
        """The format for people, e.g. ``uint16 x 10^-1 in``."""
        bits, signed = INTEGERS.get(self.format, (0, False))
        name = f"{'sint' if signed else 'uint'}{bits}" if bits else NAMED.get(self.format, "?")
        unit = LENGTHS[self.unit][0].value if self.unit in LENGTHS else f"unit 0x{self.unit:04X}"
        return f"{name} x 10^{self.exponent} {unit}" if bits else f"{name} {unit}"


def parse_presentation(data: bytes) -> PresentationFormat | None:
    """The descriptor in ``data``; None unless it has exactly seven bytes."""
    if len(data) != 7:
        return None
    return PresentationFormat(*struct.unpack("<BbHBH", data))


def read_value(data: bytes, form: PresentationFormat, scale: Scale) -> Read | Refused:
    """The length in a characteristic's value ``data``, exactly. Any bytes may be given."""
    outcome = _read(data, form, scale)
    return Refused(outcome, raw=data[:64]) if isinstance(outcome, Reason) else outcome


def _read(data: bytes, form: PresentationFormat, scale: Scale) -> Read | Reason:
    if form.unit not in LENGTHS:
        return Reason.UNKNOWN_UNIT
    number = _number(data, form)
    if isinstance(number, Reason):
        return number
    unit, times = LENGTHS[form.unit]
    # Checked before and after the product, so that no exponent is ever multiplied out.
    wrong = checked_size(number, unit)
    if wrong is not None:
        return wrong
    # 50 digits: a uint128 has 39, so the product is exact.
    total = EXACT.multiply(number, times) if times != 1 else number
    return checked_size(total, unit) or Read(total, unit, scale)


def _number(data: bytes, form: PresentationFormat) -> Decimal | Reason:
    if form.format in INTEGERS:
        return _integer(data, form)
    if form.format == FLOAT32:
        return _shortest(data, "<f", 9) if len(data) == 4 else Reason.NO_MATCH
    if form.format == FLOAT64:
        return _shortest(data, "<d", 17) if len(data) == 8 else Reason.NO_MATCH
    if form.format == SFLOAT:
        return _medical(data, 2, 12)
    if form.format == FLOAT:
        return _medical(data, 4, 24)
    return Reason.NO_MATCH


def _integer(data: bytes, form: PresentationFormat) -> Decimal | Reason:
    bits, signed = INTEGERS[form.format]
    if len(data) != (bits + 7) // 8:
        return Reason.NO_MATCH
    number = int.from_bytes(data, "little")
    if number >> bits:
        return Reason.NO_MATCH
    if signed and number >> (bits - 1):
        number -= 1 << bits
    return Decimal(f"{number}E{form.exponent}")


def _medical(data: bytes, size: int, bits: int) -> Decimal | Reason:
    """IEEE 11073-20601: a signed power of ten above, a signed mantissa of ``bits`` below."""
    if len(data) != size:
        return Reason.NO_MATCH
    number = int.from_bytes(data, "little", signed=True)
    exponent, mantissa = number >> bits, number & ((1 << bits) - 1)
    top = 1 << (bits - 1)
    # NaN top-1, +inf top-2, not at this resolution top, reserved top+1, -inf top+2.
    if top - 2 <= mantissa <= top + 2:
        return Reason.NOT_A_NUMBER
    return Decimal(f"{mantissa - 2 * top if mantissa >= top else mantissa}E{exponent}")


def _shortest(data: bytes, layout: str, most_digits: int) -> Decimal | Reason:
    """The shortest decimal that encodes to the same bits."""
    (binary,) = struct.unpack(layout, data)
    if binary != binary or binary in (float("inf"), float("-inf")):
        return Reason.NOT_A_NUMBER
    for digits in range(1, most_digits + 1):
        text = f"{binary:.{digits}g}"
        if _packs_to(text, layout, data):
            return Decimal(text)
    return Reason.NOT_A_NUMBER


def _packs_to(text: str, layout: str, data: bytes) -> bool:
    try:
        return struct.pack(layout, float(text)) == data
    except OverflowError:
        return False
