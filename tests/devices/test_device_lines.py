"""Line patterns, numbers, units and checksums, against published forms and plain arithmetic."""

from __future__ import annotations

import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError
from callout.core.units import Scale, Unit
from callout.devices.line_format.lines import LineFormat, Read, checksum_of, read_line
from callout.devices.line_format.numerals import Mark
from callout.devices.line_format.template import PRESETS, compile_template, scan
from callout.devices.measurement import Reason, Refused

D = Decimal
SIDE = Scale.DIAMETER


def how(pattern: str, **rest: object) -> LineFormat:
    return LineFormat(compile_template(pattern), **rest)  # type: ignore[arg-type]


# Lines and their readings: plain arithmetic (9 5/8 = 9.625, and so on); the lines invented.
READINGS = [
    ("plain", b"24.6 cm", Read(D("24.6"), Unit.CENTIMETRE, Scale.DIAMETER)),
    ("plain", b"24.6cm", Read(D("24.6"), Unit.CENTIMETRE, Scale.DIAMETER)),
    ("plain", b"  24.60   MM  ", Read(D("24.60"), Unit.MILLIMETRE, Scale.DIAMETER)),
    ("plain", b"+0.246 m", Read(D("0.246"), Unit.METRE, Scale.DIAMETER)),
    ("plain", b".5 ft", Read(D("0.5"), Unit.FOOT, Scale.DIAMETER)),
    ("plain", b"9 5/8 in", Read(D("9.625"), Unit.INCH, Scale.DIAMETER)),
    ("plain", b'9-5/8"', Read(D("9.625"), Unit.INCH, Scale.DIAMETER)),
    ("plain", b"7/16 inch", Read(D("0.4375"), Unit.INCH, Scale.DIAMETER)),
    ("{value} {unit} {scale}", b"24.6 in girth", Read(D("24.6"), Unit.INCH, Scale.GIRTH)),
    ("{scale}:{value}{unit}", b"D:24.6cm", Read(D("24.6"), Unit.CENTIMETRE, Scale.DIAMETER)),
    ("{tag};{value}{unit}", b"A-83;31cm", Read(D(31), Unit.CENTIMETRE, Scale.DIAMETER, "A-83")),
    ("fixed", b"   24.60cm", Read(D("24.60"), Unit.CENTIMETRE, Scale.DIAMETER)),
    ("N{skip:3}={value:6}{unit:2}{skip}", b"Nabc=  3.5 in!", Read(D("3.5"), Unit.INCH, SIDE)),
    ("{{{value}}} {unit}", b"{3} ft", Read(D(3), Unit.FOOT, Scale.DIAMETER)),
]  # fmt: skip


@pytest.mark.parametrize(("pattern", "line", "expected"), READINGS)
def test_readings(pattern: str, line: bytes, expected: Read) -> None:
    assert read_line(line, how(pattern)) == expected


REFUSALS = [
    (b"", Reason.NO_MATCH),
    (b"24.6", Reason.NO_MATCH),
    (b"24.6 kg", Reason.UNKNOWN_UNIT),
    (b"24.6 cm extra", Reason.NO_MATCH),
    (b"24,6 cm", Reason.NOT_A_NUMBER),
    (b"1,234.5 mm", Reason.NO_MATCH),
    (b"24.6.1 cm", Reason.NO_MATCH),
    (b"-24.6 cm", Reason.NOT_POSITIVE),
    (b"0 cm", Reason.NOT_POSITIVE),
    (b"-0.0 cm", Reason.NOT_POSITIVE),
    (b"NaN cm", Reason.NO_MATCH),
    (b"inf cm", Reason.NO_MATCH),
    (b"1e400 cm", Reason.NO_MATCH),
    (b"1e2 cm", Reason.NO_MATCH),
    (b"0x18 cm", Reason.NO_MATCH),
    (b"2_4 cm", Reason.NO_MATCH),
    (b"9 5/0 in", Reason.NOT_A_NUMBER),
    (b"9 8/8 in", Reason.NOT_A_NUMBER),
    (b"9 1/3 in", Reason.NOT_A_NUMBER),
    (b"9/ in", Reason.NO_MATCH),
    (b"999999999999 cm", Reason.TOO_LARGE),
    (b"9999999999999 cm", Reason.NOT_A_NUMBER),
    (b"6001 cm", Reason.TOO_LARGE),
    (b"0.001 mm", Reason.TOO_SMALL),
    (b"24.6\x00 cm", Reason.NOISE),
    (b"\xff\xfe\x01", Reason.NOISE),
    ("٢٤ cm".encode(), Reason.NOISE),
    (b"24.6 cm" + b" " * 300, Reason.TOO_LONG),
]


@pytest.mark.parametrize(("line", "reason"), REFUSALS)
def test_refusals(line: bytes, reason: Reason) -> None:
    outcome = read_line(line, how("plain"))
    assert isinstance(outcome, Refused)
    assert outcome.reason is reason


def test_a_tag_never_swallows_the_digits_of_a_value() -> None:
    # "2808.6" after a tag without a blank: neither 0.6 nor anything else is read.
    form = how("#{tag} {value}", unit=Unit.CENTIMETRE)
    assert read_line(b"#A-83m2808.6", form) == Refused(Reason.NO_MATCH, raw=b"#A-83m2808.6")
    assert read_line(b"#A-83 2808.6", form) == Read(
        D("2808.6"), Unit.CENTIMETRE, Scale.DIAMETER, "A-83"
    )


def test_decimal_comma_is_never_guessed() -> None:
    comma, either = how("plain", mark=Mark.COMMA), how("plain", mark=Mark.EITHER)
    expected = Read(D("24.6"), Unit.CENTIMETRE, Scale.DIAMETER)
    assert read_line(b"24,6 cm", comma) == expected
    assert read_line(b"24,6 cm", either) == read_line(b"24.6 cm", either) == expected
    assert read_line(b"24.6 cm", comma) == Refused(Reason.NOT_A_NUMBER, raw=b"24.6 cm")
    assert read_line(b"1,234 mm", either) == Refused(Reason.AMBIGUOUS, raw=b"1,234 mm")
    assert read_line(b"1,234 m", comma) == Read(D("1.234"), Unit.METRE, Scale.DIAMETER)


def test_a_unit_and_scale_of_the_settings_stand_in() -> None:
    fixed = how("number", unit=Unit.INCH, scale=Scale.GIRTH)
    assert read_line(b"77.3", fixed) == Read(D("77.3"), Unit.INCH, Scale.GIRTH)
    assert read_line(b"77.3", how("number")) == Refused(Reason.UNKNOWN_UNIT, raw=b"77.3")
    own = how("{scale}{value}{unit}", scale_names={"u": Scale.GIRTH})
    assert read_line(b"U77.3cm", own) == Read(D("77.3"), Unit.CENTIMETRE, Scale.GIRTH)
    assert read_line(b"X77.3cm", own) == Refused(Reason.UNKNOWN_SCALE, raw=b"X77.3cm")


def test_checksum_of_a_published_sentence() -> None:
    # The GGA example sentence that circulates with every description of NMEA 0183: *47
    # (from memory; its arithmetic is checked here).
    sentence = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
    assert checksum_of(sentence) == 0x47


def test_nmea_transducer_sentence() -> None:
    # XDR: type D is a linear displacement in metres M (NMEA 0183; seen in public
    # descriptions of the sentence). The value is invented.
    body = "WIXDR,D,0.246,M,TAPE"
    total = 0
    for letter in body.encode():
        total ^= letter
    good = f"${body}*{total:02X}".encode()
    expected = Read(D("0.246"), Unit.METRE, Scale.DIAMETER)
    assert read_line(good, how("nmea-xdr")) == expected
    for place in range(len(good)):
        for bit in range(7):
            broken = bytearray(good)
            broken[place] ^= 1 << bit
            outcome = read_line(bytes(broken), how("nmea-xdr"))
            # Only the case of the checksum's own hex letter may flip unnoticed.
            same = place >= len(good) - 2 and bytes(broken).upper() == good.upper()
            assert outcome == expected if same else isinstance(outcome, Refused)


def test_a_checksum_covers_the_whole_sentence() -> None:
    # 20 is the checksum of the one blank before the first star alone.
    line = b"$ *   ,1215.3,inches*20"
    assert read_line(line, how("nmea")) == Refused(Reason.CHECKSUM, raw=line)


BAD_PATTERNS = [
    "",
    "   ",
    "{unit}",
    "{value",
    "value}",
    "{weight} {value}",
    "{value} {value}",
    "{value:0}",
    "{value:999}",
    "{value:x}",
    "{skip}{value}",
    "{tag}{value}",
    "{unit}{scale}{value}",
    "{value}{checksum}",
    "{value}*{checksum}",
    "${value}*{checksum:2}",
    "{value}" + " " * 300,
]


@pytest.mark.parametrize("pattern", BAD_PATTERNS)
def test_bad_patterns_are_refused_in_words(pattern: str) -> None:
    with pytest.raises(OperatorError, match="pattern"):
        compile_template(pattern)


@given(
    st.integers(1, 59_999),
    st.integers(0, 3),
    st.sampled_from(["cm", "mm", "in"]),
    st.sampled_from(["", " ", "  "]),
)
def test_every_decimal_comes_back_exactly(units: int, places: int, unit: str, gap: str) -> None:
    value = D(units).scaleb(-places)
    outcome = read_line(f"{value:f}{gap}{unit}".encode(), how("plain"))
    if isinstance(outcome, Refused):
        assert value * Unit(unit).centimetres > 6000 or value * Unit(unit).centimetres < D("0.01")
    else:
        assert (outcome.value, str(outcome.value), outcome.unit) == (
            value,
            f"{value:f}",
            Unit(unit),
        )


@given(st.integers(0, 300), st.sampled_from([2, 4, 8, 16, 32, 64, 128]), st.data())
def test_every_fraction_is_exact(whole: int, under: int, data: st.DataObject) -> None:
    over = data.draw(st.integers(1, under - 1))
    outcome = read_line(f"{whole} {over}/{under} in".encode(), how("plain"))
    assert isinstance(outcome, Read)
    assert outcome.value * under == whole * under + over


@given(st.text(max_size=60), st.text(max_size=60))
def test_any_pattern_and_line_give_an_answer(pattern: str, line: str) -> None:
    try:
        template = compile_template(pattern)
    except OperatorError:
        return
    scan(template, line)


def test_a_hostile_line_takes_no_time() -> None:
    patterns = [*PRESETS, "{skip},{skip},{skip},{value}", "{tag} {value}"]
    lines = [b"," * 256, b"1" * 256, b"1/" * 128, b" " * 256, b"1 " * 128, b"-" * 256, b"a" * 256]
    slowest = 0.0
    for pattern in patterns:
        form = how(pattern, unit=Unit.CENTIMETRE)
        for line in lines:
            begun = time.thread_time()
            assert isinstance(read_line(line, form), Refused)
            slowest = max(slowest, time.thread_time() - begun)
    assert slowest < 0.05, "CPU seconds; a thousandth of one here"
