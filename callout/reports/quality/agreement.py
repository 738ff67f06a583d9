"""How far two walks over the same trees differ: the figures of measurement agreement.

Plain functions of numbers. Differences are second minus first, all of one unit. After J. M. Bland
and D. G. Altman, Lancet 327 (1986) 307-310, and the technical error of measurement of anthropometry
(S. J. Ulijaszek and D. A. Kerr, British Journal of Nutrition 82 (1999) 165-177).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from callout.core.units import Unit, convert

LIMITS_SD = 1.96  # 95 % of a normal distribution
LEVEL = 0.95


@dataclass(frozen=True)
class Tolerance:
    """Up to ``step`` inches for each ``each`` inches of diameter begun, ``share`` of the time.

    The default is the objective of the US national field guide, from memory (no public copy was
    found to read it in): 0.1 in for each 20.0 in, at least 95 %. That a tree of 20.1 to 40.0 in may
    be 0.2 off is our reading of it.
    """

    step: Decimal = Decimal("0.1")
    each: Decimal = Decimal("20.0")
    share: float = 0.95

    def allowed(self, value: Decimal, unit: Unit) -> Decimal:
        """How far off a diameter of ``value`` may be, in ``unit``."""
        inches = convert(value, unit, Unit.INCH)
        steps = max(Decimal(1), (inches / self.each).to_integral_value(ROUND_CEILING))
        return convert(self.step * steps, Unit.INCH, unit)

    def told(self) -> str:
        """The objective in words."""
        return (
            f"{self.step} in for each {self.each} in of diameter begun, "
            f"at least {self.share:.0%} of the time"
        )


@dataclass(frozen=True)
class Interval:
    """From ``low`` to ``high``; NaN if there is too little data."""

    low: float
    high: float


@dataclass(frozen=True)
class Agreement:
    """Figures of ``n`` pairs, in their unit; NaN if there are too few.

    ``bias`` is the mean difference and ``sd`` its standard deviation. ``tem``, the technical error
    of measurement sqrt(sum d^2 / 2n), is the standard deviation of one measurement; ``tem_share``
    that over the mean size. 95 % of differences are expected within ``limits``.
    """

    n: int
    mean: float
    bias: float
    bias_within: Interval
    sd: float
    tem: float
    tem_share: float
    limits: Interval
    low_within: Interval
    high_within: Interval


def agreement(
    differences: Sequence[Decimal], sizes: Sequence[Decimal], limits_sd: float = LIMITS_SD
) -> Agreement:
    """The figures of ``differences`` between pairs whose mean sizes are ``sizes``."""
    n = len(differences)
    gaps = [float(item) for item in differences]
    mean = statistics.fmean(map(float, sizes)) if n else math.nan
    bias = statistics.fmean(gaps) if n else math.nan
    sd = statistics.stdev(gaps) if n > 1 else math.nan
    tem = technical_error(gaps)
    low, high = bias - limits_sd * sd, bias + limits_sd * sd
    wide = _t(n) * sd / math.sqrt(n) if n > 1 else math.nan
    # Standard error of a limit, sqrt(3 s^2 / n): Bland and Altman 1986.
    wider = wide * math.sqrt(3)
    return Agreement(
        n=n,
        mean=mean,
        bias=bias,
        bias_within=Interval(bias - wide, bias + wide),
        sd=sd,
        tem=tem,
        tem_share=tem / mean if n else math.nan,
        limits=Interval(low, high),
        low_within=Interval(low - wider, low + wider),
        high_within=Interval(high - wider, high + wider),
    )


def technical_error(differences: Sequence[float]) -> float:
    """The technical error of measurement, sqrt(sum d^2 / 2n): that of one measurement."""
    if not differences:
        return math.nan
    return math.sqrt(sum(item * item for item in differences) / (2 * len(differences)))


def share_within(within: int, n: int) -> tuple[float, Interval]:
    """The share ``within`` of ``n``, and its 95 % interval (Wilson)."""
    if n == 0:
        return math.nan, Interval(math.nan, math.nan)
    from scipy.stats import binomtest

    bounds = binomtest(within, n).proportion_ci(LEVEL, method="wilson")
    return within / n, Interval(float(bounds.low), float(bounds.high))


def _t(n: int) -> float:
    """The quantile of Student's t for a 95 % interval of ``n`` values."""
    from scipy.stats import t

    return float(t.ppf((1 + LEVEL) / 2, n - 1))
