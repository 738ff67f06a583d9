"""The size checks of the first edition, from before growth was learnt from the plot.

Only for replaying journals of that time: a replay must give the same warnings, since a confirmation
then depended on them. No new reading is checked here, and the warnings are not shown again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, localcontext

from callout.core.checking.checks_digits import one_off, sounding_alike, swapped
from callout.core.checking.checks_limits import FirstLimits, measurement_sd_mm, years_between
from callout.core.model import PastMeasurement, Tree, Warned
from callout.core.saying import as_is
from callout.core.units import EXACT, PI, Unit, convert

_LEAST_DAYS = 3 * 365
_SCALES = {"wrong side": PI, "wrong unit": Decimal("2.54"), "slipped decimal": Decimal(10)}
_DIGITS: dict[str, Callable[[str], Iterator[str]]] = {
    "sounds alike": sounding_alike,
    "swapped digits": swapped,
}


@dataclass(frozen=True)
class _Sizes:
    value: Decimal
    unit: Unit
    on: date
    first: PastMeasurement
    last: PastMeasurement
    limits: FirstLimits

    @property
    def before_mm(self) -> Decimal:
        return convert(self.last.value, self.last.unit, Unit.MILLIMETRE)

    @property
    def sd_mm(self) -> Decimal:
        return measurement_sd_mm(self.before_mm)

    def growth_mm(self, value: Decimal) -> Decimal:
        return convert(value, self.unit, Unit.MILLIMETRE) - self.before_mm

    def is_usual(self, value: Decimal) -> bool:
        error = self.limits.shrink_sd * self.sd_mm
        most = self._usual_rate_mm() * years_between(self.last.on, self.on) + error
        most = max(most, self.limits.reject_sd * self.sd_mm)
        return value > 0 and -error < self.growth_mm(value) <= most

    def _usual_rate_mm(self) -> Decimal:
        limits, rate = self.limits, self.limits.usual_growth_mm_a_year
        if (self.last.on - self.first.on).days >= _LEAST_DAYS:
            grown = self.before_mm - convert(self.first.value, self.first.unit, Unit.MILLIMETRE)
            own = max(Decimal(0), grown) / years_between(self.first.on, self.last.on)
            rate = limits.own_growth_factor * own + limits.own_growth_more_mm_a_year
        return min(rate, limits.growth_mm_a_year)


def against_history_first(
    value: Decimal,
    unit: Unit,
    on: date,
    tree: Tree,
    limits: FirstLimits,
    just_before: Decimal | None = None,
) -> tuple[Warned, ...]:
    """The warning that the first edition gave, by its name, if any."""
    if tree.last is None:
        return ()
    of = _Sizes(value, unit, on, tree.past[0], tree.last, limits)
    grown = of.growth_mm(value)
    small = -grown >= limits.shrink_sd * of.sd_mm
    allowed = limits.growth_mm_a_year * years_between(tree.last.on, on)
    jump = grown > max(allowed, limits.reject_sd * of.sd_mm)
    if of.is_usual(value) and not jump:
        return ()
    a_little = max(limits.reject_sd * of.sd_mm, limits.tape_share * of.before_mm)
    name = None if small and -grown < a_little else _slip(of, just_before)
    if name is None and small:
        name = "not a growth"
    elif name is None and jump:
        name = "implausible jump"
    return () if name is None else (Warned(name, as_is(name)),)


def _slip(of: _Sizes, just_before: Decimal | None) -> str | None:
    """The slip that comes nearest to the last size; one digit off is tried last."""
    if of.value == just_before:
        return "tree before"
    found: list[tuple[Decimal, str]] = []
    for name, factor in _SCALES.items():
        with localcontext(EXACT):
            ways = (of.value / factor, of.value * factor)
        nearest = min(abs(of.growth_mm(way)) for way in ways)
        near = nearest <= of.limits.ratio_tolerance * of.before_mm
        if of.before_mm > 0 and (near or any(map(of.is_usual, ways))):
            found.append((nearest, name))
    for name, made in _DIGITS.items():
        sizes = [Decimal(text) for text in made(f"{of.value:f}")]
        if any(map(of.is_usual, sizes)):
            found.append((min(abs(of.growth_mm(size)) for size in sizes), name))
    if found:
        return min(found, key=lambda one: one[0])[1]
    off = (Decimal(text) for text in one_off(f"{of.value:f}"))
    return "neighbouring digit" if any(map(of.is_usual, off)) else None
