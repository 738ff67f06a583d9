"""Units against ``pint`` (a public units library) and the 1959 inch of exactly 2.54 cm."""

from __future__ import annotations

import contextlib
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError, ProgrammerError
from callout.core.units import PI, Scale, Unit, convert, diameter_from, parse_decimal, parse_unit

values = st.decimals(min_value=0, max_value=10_000, places=3)
UREG = pint.UnitRegistry(non_int_type=Fraction)


def test_the_inch():
    """International yard and pound agreement, 1959: 1 in = 2.54 cm exactly."""
    assert convert(Decimal(1), Unit.INCH, Unit.CENTIMETRE) == Decimal("2.54")
    assert convert(Decimal("25.0"), Unit.INCH, Unit.CENTIMETRE) == Decimal("63.5")
    assert convert(Decimal("4.5"), Unit.FOOT, Unit.METRE) == Decimal("1.3716")


@pytest.mark.parametrize("source", Unit)
@pytest.mark.parametrize("target", Unit)
def test_factors_agree_with_pint(source, target):
    """pint's own factor, exact as a fraction; ours is cut at 50 digits."""
    factor = UREG.Quantity(Fraction(1), source.value).to(target.value).magnitude
    ours = Fraction(convert(Decimal(1), source, target))
    assert abs(ours - factor) <= factor * Fraction(1, 10**49)


@given(values)
def test_inches_to_centimetres_and_back(value):
    there = convert(value, Unit.INCH, Unit.CENTIMETRE)
    assert there == value * Decimal("2.54")
    assert convert(there, Unit.CENTIMETRE, Unit.INCH) == value


def test_pi_by_machin():
    """The first 50 digits, from Machin's formula in whole numbers (John Machin, 1706)."""
    scale = 10**60

    def arctan_inverse(number: int) -> int:
        total = power = scale // number
        divisor, sign = 3, -1
        while power:
            power //= number * number
            total += sign * (power // divisor)
            divisor, sign = divisor + 2, -sign
        return total

    pi = Fraction(4 * (4 * arctan_inverse(5) - arctan_inverse(239)), scale)
    assert abs(Fraction(PI) - pi) < Fraction(1, 10**49)


@given(values)
def test_girth_over_pi(value):
    diameter = diameter_from(value, Scale.GIRTH)
    assert abs(Fraction(diameter) * Fraction(PI) - Fraction(value)) <= Fraction(1, 10**40)
    assert diameter_from(value, Scale.DIAMETER) == value


@pytest.mark.parametrize("bad", [24.6, 24, "24.6", None])
def test_only_decimals(bad):
    with pytest.raises(ProgrammerError):
        convert(bad, Unit.INCH, Unit.CENTIMETRE)
    with pytest.raises(ProgrammerError):
        diameter_from(bad, Scale.GIRTH)


@pytest.mark.parametrize(("text", "unit"), [("in", Unit.INCH), (" CM ", Unit.CENTIMETRE)])
def test_unit_names(text, unit):
    assert parse_unit(text) is unit


@pytest.mark.parametrize("text", ["", "inch", "furlong", "in cm"])
def test_unknown_units_say_which_there_are(text):
    with pytest.raises(OperatorError, match="in, cm, mm"):
        parse_unit(text)


@pytest.mark.parametrize(
    ("text", "value"), [("24.6", "24.6"), (" 24.60 ", "24.60"), ("-3", "-3"), ("007", "7")]
)
def test_plain_numbers(text, value):
    assert str(parse_decimal(text)) == value


@pytest.mark.parametrize(
    "text",
    ["", ".", "24,6", "1e5", "1e-9999", "1_000", "NaN", "inf", "٢٤", "24.6.1", "0x18", "9" * 21],
)
def test_odd_numbers_are_refused(text):
    with pytest.raises(OperatorError):
        parse_decimal(text)


@given(st.text(max_size=40))
def test_text_is_a_finite_number_or_refused(text):
    with contextlib.suppress(OperatorError):
        assert parse_decimal(text).is_finite()
