"""Rounding to the tape's graduation, against plain rational arithmetic and the check values.

``fractions.Fraction`` (stdlib) is the independent reference: it knows no digits to lose.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError, ProgrammerError
from callout.core.rounding import Rounding, parse_graduation, to_graduation
from callout.core.units import Scale, diameter_from, parse_decimal

NEAREST, DOWN = Rounding.NEAREST, Rounding.DOWN
GRADUATIONS = ("1", "0.5", "0.25", "0.2", "0.1", "0.05", "0.01", "0.3", "2")
graduations = st.sampled_from([Decimal(text) for text in GRADUATIONS])
values = st.decimals(min_value=0, max_value=2000, places=4)


@pytest.mark.parametrize(
    ("value", "graduation", "nearest", "down"),
    [
        ("24.96", "0.1", "25.0", "24.9"),  # common practice: called 25.0; down is 24.9
        ("3.68", "0.1", "3.7", "3.6"),  # down: a US field guide's example, from memory
        ("24.95", "0.1", "25.0", "24.9"),  # a tie goes up
        ("25.05", "0.1", "25.1", "25.0"),  # up also where half-even would go down
        ("25.0", "0.1", "25.0", "25.0"),
        ("0", "0.1", "0.0", "0.0"),
        ("10.10", "0.25", "10.00", "10.00"),
        ("10.125", "0.25", "10.25", "10.00"),
        ("7.325", "0.05", "7.35", "7.30"),
        ("12.5", "1", "13", "12"),
        ("0.45", "0.3", "0.6", "0.3"),
        ("31", "2", "32", "30"),
    ],
)
def test_check_values(value, graduation, nearest, down):
    """Compared as text, so that the decimal places count too."""
    assert str(to_graduation(Decimal(value), Decimal(graduation), NEAREST)) == nearest
    assert str(to_graduation(Decimal(value), Decimal(graduation), DOWN)) == down


def test_girth_of_the_facts_sheet():
    """Girth 78.4 in is 24.955 in of diameter (plain arithmetic)."""
    diameter = diameter_from(Decimal("78.4"), Scale.GIRTH)
    assert diameter.quantize(Decimal("0.001")) == Decimal("24.955")
    assert to_graduation(diameter, Decimal("0.1"), NEAREST) == Decimal("25.0")
    assert to_graduation(diameter, Decimal("0.1"), DOWN) == Decimal("24.9")


@given(values, graduations)
def test_agrees_with_fractions(value, graduation):
    steps = Fraction(value) / Fraction(graduation)
    nearest = floor(steps + Fraction(1, 2)) * Fraction(graduation)
    down = floor(steps) * Fraction(graduation)
    assert Fraction(to_graduation(value, graduation, NEAREST)) == nearest
    assert Fraction(to_graduation(value, graduation, DOWN)) == down


@given(values, graduations, st.sampled_from(Rounding))
def test_properties(value, graduation, rounding):
    recorded = to_graduation(value, graduation, rounding)
    assert recorded % graduation == 0
    assert recorded.as_tuple().exponent == min(0, graduation.as_tuple().exponent)
    assert to_graduation(recorded, graduation, rounding) == recorded
    if rounding is DOWN:
        assert value - graduation < recorded <= value
    else:
        assert abs(recorded - value) <= graduation / 2
        assert value - recorded != graduation / 2, "ties go up"


@given(values, values, graduations, st.sampled_from(Rounding))
def test_order_is_kept(one, other, graduation, rounding):
    small, large = sorted((one, other))
    assert to_graduation(small, graduation, rounding) <= to_graduation(large, graduation, rounding)


@given(st.integers(0, 20_000), graduations)
def test_down_never_loses_a_whole_graduation(steps, graduation):
    whole = steps * graduation
    assert to_graduation(whole, graduation, DOWN) == whole
    assert to_graduation(whole, graduation, NEAREST) == whole


@pytest.mark.parametrize("rounding", Rounding)
def test_floats_and_negatives_are_refused(rounding):
    with pytest.raises(ProgrammerError, match="float"):
        to_graduation(24.96, Decimal("0.1"), rounding)  # type: ignore[arg-type]
    with pytest.raises(ProgrammerError, match="float"):
        to_graduation(Decimal("24.96"), 0.1, rounding)  # type: ignore[arg-type]
    with pytest.raises(OperatorError, match="-1"):
        to_graduation(Decimal(-1), Decimal("0.1"), rounding)


@pytest.mark.parametrize("text", ["0", "-0.1", "", "a tenth", "NaN", "Infinity", "1e-9", "0.0"])
def test_graduation_must_be_a_positive_decimal(text):
    with pytest.raises(OperatorError):
        parse_graduation(text)


@given(st.text(max_size=30), st.text(alphabet="0123456789.-+eE_ ٣", max_size=24))
def test_whatever_is_written_as_number_and_graduation_rounds_or_is_refused(value, graduation):
    for number, unit in ((value, graduation), (graduation, value), (graduation, graduation)):
        try:
            recorded = to_graduation(parse_decimal(number), parse_graduation(unit), NEAREST)
        except OperatorError:
            continue
        assert recorded >= 0


@pytest.mark.parametrize("text", ["1", "0.5", "0.1", "0.000001", "10"])
def test_graduations_above_zero_are_taken(text):
    assert parse_graduation(text) == Decimal(text)


@given(st.integers(1, 10**6), st.integers(1, 10**6), st.integers(1, 10**18))
def test_a_quotient_cut_at_fifty_digits_loses_no_whole_graduation(steps, graduation, pieces):
    """Against fractions, at values a hair above and below whole graduations."""
    unit = Decimal(graduation).scaleb(-4)
    whole = steps * unit
    hair = Decimal(pieces).scaleb(-40)
    assert (
        to_graduation(whole + hair, unit, DOWN)
        == floor(Fraction(whole + hair) / Fraction(unit)) * unit
    )
    assert (
        to_graduation(whole - hair, unit, DOWN)
        == floor(Fraction(whole - hair) / Fraction(unit)) * unit
    )


def test_a_number_has_at_most_twenty_characters():
    assert parse_decimal("1" * 18 + ".5") == Decimal("1" * 18 + ".5")
    with pytest.raises(OperatorError, match=r"^1{19}\.… is not a usable number"):
        parse_decimal("1" * 19 + ".5")
