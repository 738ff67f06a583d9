"""Whether a diameter is odd for its tree: shrunk, too slow, too fast.

Sizes are compared in millimetres, exactly; the expected size comes from ``checks_growth``. What may
explain an odd size is decided in ``checks_slips``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_UP, Decimal, localcontext
from functools import cached_property

from callout.core.checking.checks_growth import Expected
from callout.core.checking.checks_limits import (
    DAYS_A_YEAR,
    Limits,
    measurement_sd_mm,
    years_between,
)
from callout.core.model import PastMeasurement, Warned
from callout.core.saying import Saying, saying
from callout.core.units import EXACT, Unit, convert

_TWO_YEARS, _A_MONTH = Decimal("1.9"), Decimal("0.08")


@dataclass(frozen=True)
class Compared:
    """A diameter to record, beside its tree's last and what was ``expected`` of it.

    ``value`` is in ``unit``; ``called`` is the figure as called (a girth, another unit), whose
    digits may have slipped. ``neighbours`` maps the tags of the trees before and after in the walk
    to their expected sizes. ``just_before`` is the value of the tree saved before.
    """

    value: Decimal
    unit: Unit
    on: date
    last: PastMeasurement
    expected: Expected
    limits: Limits
    called: Decimal
    graduation: Decimal
    neighbours: Mapping[str, Expected] = field(default_factory=dict)
    just_before: Decimal | None = None
    paint_line: bool | None = None

    @cached_property
    def value_mm(self) -> Decimal:
        """The diameter to record, mm."""
        return convert(self.value, self.unit, Unit.MILLIMETRE)

    @cached_property
    def before_mm(self) -> Decimal:
        """The last diameter, mm."""
        return convert(self.last.value, self.last.unit, Unit.MILLIMETRE)

    @cached_property
    def sd_mm(self) -> Decimal:
        """Standard deviation of one measurement at the last diameter, mm."""
        return measurement_sd_mm(self.before_mm)

    @cached_property
    def off(self) -> Decimal:
        """How far the value is from what was expected, in standard deviations."""
        return self.expected.off(self.value_mm)

    def growth_mm(self) -> Decimal:
        """Growth since the last visit, mm."""
        return self.value_mm - self.before_mm


def shrunk(of: Compared) -> Warned | None:
    """Smaller than last time, by more than a tape errs or than earlier growth allows."""
    loss_mm = -of.growth_mm()
    by_tape = loss_mm >= of.limits.shrink_sd * of.sd_mm
    if loss_mm <= 0 or not (by_tape or of.off < -of.limits.slow_sd):
        return None
    sure = loss_mm >= of.limits.reject_sd * of.sd_mm
    says = change_told(of)
    if sure:
        says = saying("warn-more-than-tape", change=says)
    no_line = of.paint_line is False
    look = saying("look-slack-height") if no_line else saying("look-slack-line")
    return Warned("shrunk", says, look)


def too_slow(of: Compared) -> Warned | None:
    """Hardly grown, although earlier growth would lead one to expect more."""
    if of.growth_mm() < 0 or of.off >= -of.limits.slow_sd:
        return None
    return Warned("too slow", change_told(of), saying("look-right-tree-alive"))


def too_fast(of: Compared) -> Warned | None:
    """Grown more than earlier growth would suggest, or more than any tree grows."""
    years = years_between(of.last.on, of.on)
    allowed = of.limits.growth_mm_a_year * years
    # Even two visits in one season differ by measurement error.
    beyond_any = of.growth_mm() > max(allowed, of.limits.reject_sd * of.sd_mm)
    if not (beyond_any or of.off > of.limits.fast_sd):
        return None
    return Warned("too fast", change_told(of), saying("look-right-tree"))


def odd(of: Compared) -> Warned | None:
    """The first of these suspicions that applies, if any."""
    return shrunk(of) or too_slow(of) or too_fast(of)


def change_told(of: Compared) -> Saying:
    """The change since last time and how long ago that was: ``that is up 28.2 in 5 years``."""
    change, since = change_since(of.value, of.unit, of.last), time_told(of.last.on, of.on)
    if change == 0:
        return saying("warn-same-as-ago", time=since)
    if change > 0:
        return saying("warn-up", change=shown(change), time=since)
    return saying("warn-down", change=shown(-change), time=since)


def time_told(earlier: date, later: date) -> Saying:
    """The time between two visits in whole years; under two in months, under a month in days."""
    days = Decimal(max(0, (later - earlier).days))
    years = days / DAYS_A_YEAR
    if years >= _TWO_YEARS or abs(years - 1) < _A_MONTH:
        return saying("years", count=_whole(years))
    if years > _A_MONTH:
        return saying("months", count=_whole(12 * years))
    return saying("days", count=_whole(days))


def _whole(amount: Decimal) -> int:
    return int(amount.quantize(Decimal(1), ROUND_HALF_UP))


def change_since(value: Decimal, unit: Unit, last: PastMeasurement) -> Decimal:
    """The change since ``last``, in ``unit``, exact to 50 digits."""
    with localcontext(EXACT):
        return value - convert(last.value, last.unit, unit)


def shown(amount: Decimal) -> Decimal:
    """An amount for people: two decimals at most, no trailing zeros."""
    return amount.quantize(Decimal("0.01")).normalize()
