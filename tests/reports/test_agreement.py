"""Figures of measurement agreement against a published worked example.

J. M. Bland and D. G. Altman, "Statistical methods for assessing agreement between two methods of
clinical measurement", Lancet 327 (1986) 307-310: peak flow of 17 people, two meters, twice each.
The readings stand in many public codes; the published figures are from memory (mean difference
-2.1, SD 38.8, limits -79.7 and 75.5 by 2 SD, their 95 % intervals; SD within a person 15.3, 19.9).
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from callout.core.units import Unit, convert
from callout.reports.quality.agreement import Tolerance, agreement, share_within, technical_error

WRIGHT = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
WRIGHT_AGAIN = (490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
MINI_AGAIN = (525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443)


def figures():
    pairs = [(Decimal(a), Decimal(b)) for a, b in zip(WRIGHT, MINI, strict=True)]
    return agreement([a - b for a, b in pairs], [(a + b) / 2 for a, b in pairs], limits_sd=2)


def test_bias_deviation_and_limits_of_the_worked_example():
    found = figures()
    assert found.n == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.limits.low, found.limits.high) == pytest.approx((-79.7, 75.5), abs=0.1)


def test_how_sure_they_are_in_the_worked_example():
    found = figures()
    assert (found.bias_within.low, found.bias_within.high) == pytest.approx((-22.0, 17.8), abs=0.06)
    assert (found.low_within.low, found.low_within.high) == pytest.approx((-114.3, -45.1), abs=0.2)
    assert (found.high_within.low, found.high_within.high) == pytest.approx((40.9, 110.1), abs=0.2)


@pytest.mark.parametrize(
    ("once", "again", "published"), [(WRIGHT, WRIGHT_AGAIN, 15.3), (MINI, MINI_AGAIN, 19.9)]
)
def test_technical_error_is_the_deviation_within_a_person(once, again, published):
    gaps = [float(a - b) for a, b in zip(once, again, strict=True)]
    assert technical_error(gaps) == pytest.approx(published, abs=0.05)


def test_limits_hold_95_percent_of_a_normal_distribution():
    """1.96 deviations: quantile of the normal distribution, from scipy."""
    from scipy.stats import norm

    found = agreement([Decimal(-1), Decimal(1)], [Decimal(10), Decimal(10)])
    assert found.limits.high == pytest.approx(norm.ppf(0.975) * math.sqrt(2), abs=1e-3)


@given(st.lists(st.decimals(-5, 5, places=1), min_size=2, max_size=40))
def test_technical_error_holds_bias_and_scatter(gaps):
    """2 TEM^2 is the mean square: variance (of n) and squared bias together."""
    found = agreement(gaps, [Decimal(20)] * len(gaps))
    n = found.n
    whole = found.sd**2 * (n - 1) / n + found.bias**2
    assert 2 * found.tem**2 == pytest.approx(whole, abs=1e-9)
    assert found.limits.low <= found.bias <= found.limits.high


def test_too_few_pairs_give_no_figure_rather_than_a_wrong_one():
    assert agreement([], []).n == 0
    assert math.isnan(agreement([], []).tem)
    one = agreement([Decimal("0.1")], [Decimal(20)])
    assert one.bias == pytest.approx(0.1)
    assert math.isnan(one.sd) and math.isnan(one.limits.low)


@pytest.mark.parametrize(
    ("inches", "allowed"),
    [("5.0", "0.1"), ("20.0", "0.1"), ("20.1", "0.2"), ("40.0", "0.2"), ("40.1", "0.3")],
)
def test_tolerance_by_the_field_guide(inches, allowed):
    """US national field guide, from memory: 0.1 in for each 20.0 in; our reading of the steps."""
    assert Tolerance().allowed(Decimal(inches), Unit.INCH) == Decimal(allowed)
    cm = convert(Decimal(inches), Unit.INCH, Unit.CENTIMETRE)
    in_cm = Tolerance().allowed(cm, Unit.CENTIMETRE)
    assert in_cm == convert(Decimal(allowed), Unit.INCH, Unit.CENTIMETRE)


def test_share_within_has_the_interval_of_wilson():
    """E. B. Wilson 1927; by hand for 8 of 10: (0.8 + 1.92/10 -+ 1.96 sqrt(...)) / 1.384."""
    z, share = 1.959964, 0.8
    middle = share + z * z / 20
    half = z * math.sqrt(share * (1 - share) / 10 + z * z / 400)
    low, high = (middle - half) / (1 + z * z / 10), (middle + half) / (1 + z * z / 10)
    found, bounds = share_within(8, 10)
    assert found == 0.8
    assert (bounds.low, bounds.high) == pytest.approx((low, high), abs=1e-6)
