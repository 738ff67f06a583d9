"""Shrinkage and growth of a diameter since the tree's last measurement.

Sizes are compared in millimetres, exactly. What may explain an odd size is for ``checks_slips``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal, localcontext

from callout.core.checks_limits import DEFAULT_LIMITS, Limits, measurement_sd_mm, years_between
from callout.core.model import PastMeasurement, Warned
from callout.core.units import EXACT, Unit, convert

# A rate over less than three years is mostly error of measurement.
_LEAST_DAYS = 3 * 365


@dataclass(frozen=True)
class Compared:
    """A diameter to record, beside the tree's last; ``just_before`` is the former tree's value.

    ``value`` and ``just_before`` are in ``unit``. ``first`` is the tree's earliest measurement: its
    own rate of growth says more than a rate for all trees.
    """

    value: Decimal
    unit: Unit
    on: date
    last: PastMeasurement
    limits: Limits = DEFAULT_LIMITS
    just_before: Decimal | None = None
    first: PastMeasurement | None = None
    paint_line: bool | None = None

    @property
    def before_mm(self) -> Decimal:
        """The last diameter, mm."""
        return convert(self.last.value, self.last.unit, Unit.MILLIMETRE)

    @property
    def sd_mm(self) -> Decimal:
        """Standard deviation of one measurement at the last diameter, mm."""
        return measurement_sd_mm(self.before_mm)

    @property
    def usual_rate_mm(self) -> Decimal:
        """The growth, mm a year, up to which nobody wonders: by the tree's own rate, if known."""
        limits, rate = self.limits, self.limits.usual_growth_mm_a_year
        if self.first is not None and (self.last.on - self.first.on).days >= _LEAST_DAYS:
            grown = self.before_mm - convert(self.first.value, self.first.unit, Unit.MILLIMETRE)
            own = max(Decimal(0), grown) / years_between(self.first.on, self.last.on)
            rate = limits.own_growth_factor * own + limits.own_growth_more_mm_a_year
        return min(rate, limits.growth_mm_a_year)

    def growth_mm(self, value: Decimal | None = None) -> Decimal:
        """Growth since the last visit to ``value`` (by default the one to record), mm."""
        return convert(self.value if value is None else value, self.unit, Unit.MILLIMETRE) - (
            self.before_mm
        )

    def is_usual(self, value: Decimal) -> bool:
        """Whether ``value`` is what a tree grows in that time, give or take a tape's error."""
        error = self.limits.shrink_sd * self.sd_mm
        grown = self.usual_rate_mm * years_between(self.last.on, self.on)
        most = max(grown + error, self.limits.reject_sd * self.sd_mm)
        return value > 0 and -error < self.growth_mm(value) <= most


def not_a_growth(of: Compared) -> Warned | None:
    """Smaller than last time by more than ``shrink_sd``."""
    loss_mm = -of.growth_mm()
    if loss_mm < of.limits.shrink_sd * of.sd_mm:
        return None
    down = -change_since(of.value, of.unit, of.last)
    sure = loss_mm >= of.limits.reject_sd * of.sd_mm
    says = f"that is down {shown(down)}" + (", more than a tape can err" if sure else "")
    where = "at the same height?" if of.paint_line is False else "above the paint line?"
    return Warned("not a growth", says, f"tape slack or twisted? {where}")


def implausible_jump(of: Compared) -> Warned | None:
    """Larger than last time by more than ``growth_mm_a_year`` for every year since."""
    allowed = of.limits.growth_mm_a_year * years_between(of.last.on, of.on)
    # Two visits in one season still differ by measurement error alone.
    if of.growth_mm() <= max(allowed, of.limits.reject_sd * of.sd_mm):
        return None
    up = change_since(of.value, of.unit, of.last)
    return Warned("implausible jump", f"that is up {shown(up)}", "is this the right tree?")


def change_since(value: Decimal, unit: Unit, last: PastMeasurement) -> Decimal:
    """The change since ``last``, in ``unit``, exact to 50 digits."""
    with localcontext(EXACT):
        return value - convert(last.value, last.unit, unit)


def shown(amount: Decimal) -> str:
    """An amount for people: two decimals at most, no trailing zeros."""
    rounded = amount.quantize(Decimal("0.01")).normalize()
    return f"{rounded:f}"
