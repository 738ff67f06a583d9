"""Stems joined by their quadratic sum, so that basal area is kept (common practice)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.errors import OperatorError, ProgrammerError
from callout.core.stems import joined_diameter

sizes = st.decimals(min_value=Decimal("0.1"), max_value=300, places=1)


@pytest.mark.parametrize(
    ("stems", "joined"),
    [  # Pythagorean triples, and a quadruple (arithmetic)
        (["3", "4"], "5"),
        (["5.0", "12.0"], "13"),
        (["2", "3", "6"], "7"),
        (["24.6"], "24.6"),
    ],
)
def test_worked(stems, joined):
    assert joined_diameter([Decimal(stem) for stem in stems]) == Decimal(joined)


def test_basal_area_of_four_equal_stems():
    """Four stems of d have the basal area of one of 2 d (arithmetic)."""
    assert joined_diameter([Decimal("12.3")] * 4) == Decimal("24.6")


@given(st.lists(sizes, min_size=1, max_size=12))
def test_squares_add_up(stems):
    joined = joined_diameter(stems)
    total = sum(stem * stem for stem in stems)
    assert abs(joined * joined - total) < Decimal("1e-40")
    assert max(stems) <= joined <= sum(stems)


@pytest.mark.parametrize("stems", [[], ["0"], ["-1"], ["3", "NaN"], ["Infinity"]])
def test_bad_stems_are_refused(stems):
    with pytest.raises(OperatorError):
        joined_diameter([Decimal(stem) for stem in stems])


def test_floats_are_refused():
    with pytest.raises(ProgrammerError):
        joined_diameter([3.0])  # type: ignore[list-item]
