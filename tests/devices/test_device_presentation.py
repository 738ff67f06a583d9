"""Characteristic Presentation Format (0x2904) against the Bluetooth SIG's layout and units.

Layout, format codes and unit codes as the SIG publishes them (seen in public transcriptions of
its assigned numbers); the metre as kept in several of them. Floats are compared with ``struct``,
the reference for IEEE 754 here; medical floats with plain arithmetic.
"""

from __future__ import annotations

import struct
from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.units import EXACT, Scale, Unit
from callout.devices.line_format.lines import Read
from callout.devices.measurement import Reason, Refused
from callout.devices.presentation import (
    FLOAT,
    FLOAT32,
    FLOAT64,
    INTEGERS,
    LENGTHS,
    SFLOAT,
    PresentationFormat,
    parse_presentation,
    read_value,
)

D = Decimal
METRE, YARD, INCH, FOOT = 0x2701, 0x27A0, 0x27A2, 0x27A3


def read(data: bytes, code: int, exponent: int, unit: int = INCH) -> Read | Refused:
    return read_value(data, PresentationFormat(code, exponent, unit, 1, 0), Scale.DIAMETER)


def test_the_seven_bytes() -> None:
    # Computed: tenths of an inch as uint16; millimetres as uint16 (thousandths of a metre).
    tenths = parse_presentation(bytes.fromhex("06 FF A2 27 01 00 00"))
    assert tenths == PresentationFormat(0x06, -1, INCH, 1, 0)
    assert tenths.told() == "uint16 x 10^-1 in"
    millimetres = parse_presentation(bytes.fromhex("06 FD 01 27 01 00 00"))
    assert millimetres == PresentationFormat(0x06, -3, METRE, 1, 0)
    assert read_value(b"\xf6\x00", tenths, Scale.DIAMETER) == Read(
        D("24.6"), Unit.INCH, Scale.DIAMETER
    )
    assert read_value(b"\xf6\x00", millimetres, Scale.GIRTH) == Read(
        D("0.246"), Unit.METRE, Scale.GIRTH
    )


@pytest.mark.parametrize("size", [0, 1, 6, 8, 100])
def test_any_other_length_is_no_descriptor(size: int) -> None:
    assert parse_presentation(bytes(size)) is None


WIDTHS = {
    0x02: 1, 0x03: 1, 0x04: 1, 0x05: 2, 0x06: 2, 0x07: 3, 0x08: 4, 0x09: 6, 0x0A: 8, 0x0B: 16,
    0x0C: 1, 0x0D: 2, 0x0E: 2, 0x0F: 3, 0x10: 4, 0x11: 6, 0x12: 8, 0x13: 16,
}  # fmt: skip


@pytest.mark.parametrize("code", sorted(WIDTHS))
def test_every_integer_format_reads_one(code: int) -> None:
    assert set(WIDTHS) == set(INTEGERS)
    one = (1).to_bytes(WIDTHS[code], "little")
    assert read(one, code, 0) == Read(D(1), Unit.INCH, Scale.DIAMETER)
    for wrong in (one + b"\0", one[:-1]):
        assert read(wrong, code, 0) == Refused(Reason.NO_MATCH, raw=wrong)


@given(st.sampled_from(sorted(INTEGERS)), st.integers(-6, 2), st.data())
def test_integers_come_back_exactly(code: int, exponent: int, data: st.DataObject) -> None:
    bits, signed = INTEGERS[code]
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if signed else (0, (1 << bits) - 1)
    number = data.draw(st.integers(low, min(high, 2_000_000)))
    raw = (number & ((1 << bits) - 1)).to_bytes((bits + 7) // 8, "little")
    outcome = read(raw, code, exponent)
    with localcontext(EXACT):
        expected = number * D(10) ** exponent
    if isinstance(outcome, Read):
        assert outcome.value == expected
    else:
        assert expected <= 0 or expected * D("2.54") > 6000 or expected * D("2.54") < D("0.01")


def test_signed_and_unsigned_agree_with_struct() -> None:
    for layout, code in (("<H", 0x06), ("<I", 0x08), ("<h", 0x0E), ("<i", 0x10), ("<b", 0x0C)):
        raw = struct.pack(layout, 97)
        assert read(raw, code, -1) == Read(D("9.7"), Unit.INCH, Scale.DIAMETER)
    assert read(struct.pack("<h", -97), 0x0E, -1) == Refused(
        Reason.NOT_POSITIVE, raw=struct.pack("<h", -97)
    )


@pytest.mark.parametrize(
    ("unit", "ours", "value"),
    [(METRE, Unit.METRE, "2.4"), (INCH, Unit.INCH, "2.4"), (FOOT, Unit.FOOT, "2.4"),
     (YARD, Unit.FOOT, "7.2")],
)  # fmt: skip
def test_units_of_length(unit: int, ours: Unit, value: str) -> None:
    assert set(LENGTHS) == {METRE, INCH, FOOT, YARD}
    assert read(b"\x18", 0x04, -1, unit) == Read(D(value), ours, Scale.DIAMETER)


def test_a_unit_that_is_no_length_is_refused() -> None:
    # 0x272F is a temperature (degree Celsius) in the SIG's list.
    assert read(b"\x18", 0x04, 0, 0x272F) == Refused(Reason.UNKNOWN_UNIT, raw=b"\x18")


@given(st.integers(1, 999_999), st.integers(0, 4))
def test_floats_give_the_decimal_that_was_typed(units: int, places: int) -> None:
    typed = D(units).scaleb(-places)
    for code, layout in ((FLOAT32, "<f"), (FLOAT64, "<d")):
        outcome = read(struct.pack(layout, float(typed)), code, 0)
        if isinstance(outcome, Read):
            assert outcome.value == typed
        else:
            assert typed * D("2.54") > 6000 or typed * D("2.54") < D("0.01")


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "-24.6", "0", "1e30", "1e-30"])
def test_floats_that_are_no_size(text: str) -> None:
    for code, layout in ((FLOAT32, "<f"), (FLOAT64, "<d")):
        assert isinstance(read(struct.pack(layout, float(text)), code, 0), Refused)


def test_medical_floats() -> None:
    # IEEE 11073-20601 (from memory): SFLOAT 4-bit exponent, 12-bit mantissa; FLOAT 8 and 24.
    # 24.6 = 246 x 10^-1; 36.4 as FLOAT is FF 00 01 6C, the well-known example of thermometers.
    assert read(bytes.fromhex("F6 F0"), SFLOAT, 0) == Read(D("24.6"), Unit.INCH, Scale.DIAMETER)
    assert read(bytes.fromhex("6C 01 00 FF"), FLOAT, 0) == Read(
        D("36.4"), Unit.INCH, Scale.DIAMETER
    )


@pytest.mark.parametrize(
    ("short", "long"),
    [(0x7FE, 0x7FFFFE), (0x7FF, 0x7FFFFF), (0x800, 0x800000), (0x801, 0x800001), (0x802, 0x800002)],
)
def test_reserved_mantissas_are_no_number(short: int, long: int) -> None:
    for exponent in range(16):
        raw = (exponent << 12 | short).to_bytes(2, "little")
        assert read(raw, SFLOAT, 0) == Refused(Reason.NOT_A_NUMBER, raw=raw)
        raw = (exponent << 24 | long).to_bytes(4, "little")
        assert read(raw, FLOAT, 0) == Refused(Reason.NOT_A_NUMBER, raw=raw)


@given(st.integers(-2045, 2045), st.integers(-8, 7))
def test_sfloats_come_back_exactly(mantissa: int, exponent: int) -> None:
    raw = ((exponent & 0xF) << 12 | mantissa & 0xFFF).to_bytes(2, "little")
    outcome = read(raw, SFLOAT, 0)
    expected = D(mantissa).scaleb(exponent)
    if isinstance(outcome, Read):
        assert outcome.value == expected
    else:
        assert expected <= 0 or expected * D("2.54") > 6000 or expected * D("2.54") < D("0.01")


@given(st.binary(max_size=40), st.binary(min_size=7, max_size=7))
def test_any_bytes_give_a_size_or_a_reason(data: bytes, descriptor: bytes) -> None:
    form = parse_presentation(descriptor)
    assert form is not None
    form.told()
    outcome = read_value(data, form, Scale.DIAMETER)
    if isinstance(outcome, Read):
        assert outcome.value.is_finite()
        assert 0 < outcome.value * outcome.unit.centimetres <= 6000
