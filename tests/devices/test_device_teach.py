"""Working out a pattern from presses: lines invented, sizes by plain arithmetic.

50 cm of girth is 500 mm, 0.5 m, 19.685 in, 1.6404 ft; as a diameter 50 / pi = 15.9155 cm,
6.2659 in. Computed.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError
from callout.core.units import Scale, Unit
from callout.devices.line_format.lines import Read, checksum_of, read_line
from callout.devices.line_format.numerals import Mark
from callout.devices.line_format.teach import Known, work_out
from callout.devices.settings import device_from, devices_from
from callout.devices.survey_file import with_device

D = Decimal
HALF_METRE = Known(D(50), Unit.CENTIMETRE, Scale.GIRTH)
G, S = Scale.GIRTH, Scale.DIAMETER


def nmea(body: str) -> bytes:
    return f"${body}*{checksum_of('$' + body + '*'):02X}".encode()


STORIES = [
    ([b"50.0 cm", b"50.1 cm", b"50.0 cm"], "{value} {unit}", None, G, Mark.POINT),
    ([b"50,0cm", b"50,1cm", b"50,0cm"], "{value}{unit}", None, G, Mark.COMMA),
    ([b"500", b"501", b"500"], "{value}", Unit.MILLIMETRE, G, Mark.POINT),
    ([b"19.7", b"19.7", b"19.7"], "{value}", Unit.INCH, G, Mark.POINT),
    ([b"6.27", b"6.26", b"6.27"], "{value}", Unit.INCH, S, Mark.POINT),
    ([b"15.9 cm", b"15.9 cm", b"16.0 cm"], "{value} {unit}", None, S, Mark.POINT),
    ([b"19 11/16 in", b"19 5/8 in", b"19 11/16 in"], "{value} {unit}", None, G, Mark.POINT),
    ([b"DIA 15.9 cm"] * 3, "{scale} {value} {unit}", None, None, Mark.POINT),
    ([b"N7,15.9,cm,88%"] * 3, "N7,{value},{unit},88%", None, S, Mark.POINT),
    ([b"#0001 15.9 cm", b"#0002 15.9 cm", b"#0003 15.9 cm"], "#{skip} {value} {unit}", None, S,
     Mark.POINT),
    ([b"83,500,mm"] * 3, "83,{value},{unit}", None, G, Mark.POINT),
    ([nmea("WIXDR,D,0.500,M,TAPE"), nmea("WIXDR,D,0.501,M,TAPE"), nmea("WIXDR,D,0.499,M,TAPE")],
     "$WIXDR,D,{value},{unit},TAPE*{checksum}", None, G, Mark.POINT),
]  # fmt: skip


@pytest.mark.parametrize(("lines", "pattern", "unit", "scale", "mark"), STORIES)
def test_patterns_are_worked_out(
    lines: list[bytes], pattern: str, unit: Unit | None, scale: Scale | None, mark: Mark
) -> None:
    first, *_ = work_out(lines, HALF_METRE)
    assert (first.pattern, first.unit, first.scale) == (pattern, unit, scale)
    assert len(first.readings) == 3
    if mark is Mark.COMMA:
        assert first.mark is mark


def test_a_caliper_is_taught_on_a_width() -> None:
    across = Known(D(10), Unit.CENTIMETRE, Scale.DIAMETER)
    (only,) = work_out([b"100.0", b"100.1", b"99.9"], across)
    assert (only.unit, only.scale) == (Unit.MILLIMETRE, Scale.DIAMETER)


@given(
    st.sampled_from(list(Unit)), st.sampled_from(list(Scale)), st.integers(300, 3000),
    st.floats(-0.005, 0.005),
)  # fmt: skip
def test_one_size_never_has_two_explanations(
    unit: Unit, scale: Scale, girth_mm: int, off: float
) -> None:
    # Any unit on either scale, half a per cent off, explained by itself alone.
    size = D(girth_mm) * (1 + D(str(off))) / 10 / unit.centimetres
    shown = size if scale is Scale.GIRTH else size / D("3.14159265358979")
    line = f"{shown:.5f}".encode()
    known = Known(D(girth_mm), Unit.MILLIMETRE, Scale.GIRTH)
    (only,) = work_out([line] * 3, known)
    assert (only.unit, only.scale) == (unit, scale)


def test_what_cannot_be_worked_out_is_told_in_words() -> None:
    with pytest.raises(OperatorError, match="too few"):
        work_out([b"50.0 cm"] * 2, HALF_METRE)
    with pytest.raises(OperatorError, match="not alike"):
        work_out([b"50.0 cm", b"50.0", b"E4"], HALF_METRE)
    with pytest.raises(OperatorError, match="no number in the lines is near 50 cm of girth"):
        work_out([b"24.6 cm"] * 3, HALF_METRE)
    with pytest.raises(OperatorError, match="baud rate"):
        work_out([b"\xff\x00\x81"] * 3, HALF_METRE)


@given(st.lists(st.binary(max_size=80), min_size=3, max_size=3))
def test_any_presses_give_an_answer_or_a_sentence(lines: list[bytes]) -> None:
    try:
        taught = work_out(lines, HALF_METRE)
    except OperatorError:
        return
    for one in taught:
        assert all(isinstance(read_line(line, one.line_format()), Read) for line in lines)


SURVEY = """# Harrow Fen
[survey]
name = "Harrow Fen"  # invented

[[device]]
name = "old"
transport = "wedge"
"""


def test_a_device_is_written_and_the_rest_stays() -> None:
    tape = device_from({"name": "tape", "transport": "serial", "port": "/dev/ttyUSB0"})
    text = with_device(SURVEY, tape)
    assert text.startswith(SURVEY)
    assert devices_from(tomllib.loads(text)["device"])[1] == tape
    changed = device_from({"name": "tape", "transport": "serial", "port": "/dev/ttyS1"})
    again = with_device(text, changed)
    assert again.startswith(SURVEY)
    assert devices_from(tomllib.loads(again)["device"])[1:] == (changed,)
    assert devices_from(tomllib.loads(with_device("", tape))["device"]) == (tape,)


@pytest.mark.parametrize("text", ["device = 3", "[[device]]\nname = 'x'", "= ="])
def test_a_bad_survey_file_is_left_alone(text: str) -> None:
    tape = device_from({"name": "tape", "transport": "wedge"})
    with pytest.raises(OperatorError, match=r"survey\.toml"):
        with_device(text, tape)
