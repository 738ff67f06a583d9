"""Readers of given values: strict types, limits with their ends, all wrongs at once. Invented."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from callout.core import given
from callout.core.errors import OperatorError
from callout.core.units import Scale

ANYTHING = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.integers())
)


@drawn(ANYTHING)
def test_true_is_no_number_and_one_is_not_true(value: object) -> None:
    for reader, kind in (
        (given.boolean, bool),
        (given.text, str),
        (given.whole(-5, 5), int),
        (given.one_of("a", "b"), str),
    ):
        try:
            found = reader(value)
        except OperatorError:
            continue
        assert type(value) is kind and found == value


@pytest.mark.parametrize(
    ("reader", "taken", "refused"),
    [
        (given.whole(50, 60), [50, 60], [49, 61, True, 50.0, "50"]),
        (given.number(0, 300, "seconds"), [0, 0.5, 300], [-0.1, 301, True, "1", float("nan")]),
        (given.number(0, 9, "seconds"), [9], [float("inf"), 10**400]),
        (given.member(Scale), ["girth"], ["Girth", 3, None, ["girth"]]),
        (given.short_text, ["x" * 200, ""], ["x" * 201, "a\nb", 3]),
        (given.above_zero, ["0.1", 3], ["0", "-1", 0.1, True, "x"]),
    ],
)
def test_limits(reader: given.Reader, taken: list[object], refused: list[object]) -> None:
    for value in taken:
        reader(value)
    for value in refused:
        with pytest.raises(OperatorError):
            reader(value)


def test_an_exact_number_stays_exact_and_a_float_is_none() -> None:
    assert given.exact("0.10").as_tuple() == Decimal("0.10").as_tuple()
    with pytest.raises(OperatorError, match=r"0\.1 must be in quotes"):
        given.exact(0.1)


def test_all_that_is_wrong_is_told_and_a_long_value_is_cut() -> None:
    readers = {"baud": given.whole(50, 60), "muted": given.boolean, "name": given.text}
    with pytest.raises(OperatorError) as refused:
        given.read_table({"baud": [0] * 9999, "muted": 1, "name": "x", "colour": 2}, readers)
    told = str(refused.value)
    assert "baud: [0, 0" in told and "muted: 1 must be true or false" in told
    assert "unknown setting 'colour': use baud, muted, name" in told
    assert "name:" not in told and len(told) < 300
