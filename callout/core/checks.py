"""Checks of a reading against the tree's history, each a pure function with named limits.

A check may flag a reading; none ever changes one. Sizes are compared in millimetres, exactly.
The standard deviation of a measurement is 0.006214 d + 0.9036 mm, d in mm (rule used for
forest censuses, R. Condit and co-workers; transcribed from public code).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal, localcontext

from callout.core.model import PastMeasurement, Reading, Tree, Warned
from callout.core.units import EXACT, PI, Unit, convert

DAYS_A_YEAR = Decimal("365.25")


@dataclass(frozen=True)
class Limits:
    """When checks fire. ``*_sd`` count standard deviations of one measurement."""

    shrink_sd: Decimal = Decimal(2)
    reject_sd: Decimal = Decimal(4)
    growth_mm_a_year: Decimal = Decimal(75)
    ratio_tolerance: Decimal = Decimal("0.06")


DEFAULT_LIMITS = Limits()


def measurement_sd_mm(diameter_mm: Decimal) -> Decimal:
    """Standard deviation of one diameter measurement, mm, for a diameter in mm."""
    return Decimal("0.006214") * diameter_mm + Decimal("0.9036")


def years_between(earlier: date, later: date) -> Decimal:
    """Years of 365.25 days; at least one day, so that rates stay finite."""
    return Decimal(max(1, (later - earlier).days)) / DAYS_A_YEAR


def unknown_tag(tag: str, trees: object, is_new: bool) -> Warned | None:
    """A tag that the plot does not have, or a new tree whose tag it has already."""
    known = tag in trees  # type: ignore[operator]
    if not known and not is_new:
        return Warned("unknown tag", f"no tree {tag} in this plot", "read the tag again")
    if known and is_new:
        return Warned("tag in use", f"tree {tag} is already in this plot", "read the tag again")
    return None


def measured_before(earlier: Reading | None, today: str) -> Warned | None:
    """The tree has a reading from this visit already, of ``today`` (ISO 8601) or another day."""
    if earlier is None:
        return None
    told = earlier.status.replace("_", " ") if earlier.value is None else f"{earlier.value}"
    if earlier.at[:10] == today:
        return Warned("measured today", f"already {told} today", "is this the right tag?")
    says = f"already {told} on {earlier.at[:10]}"
    return Warned("measured this visit", says, "is this the right tag?")


def against_history(
    value: Decimal, unit: Unit, on: date, tree: Tree, limits: Limits = DEFAULT_LIMITS
) -> tuple[Warned, ...]:
    """What the tree's last measurement makes of ``value``: at most one warning, the likeliest."""
    if tree.last is None:
        return ()
    for check in (_wrong_scale, _not_a_growth, _implausible_jump):
        warned = check(value, unit, on, tree.last, limits)
        if warned is not None:
            return (warned,)
    return ()


def change_since(value: Decimal, unit: Unit, last: PastMeasurement) -> Decimal:
    """The change since ``last``, in ``unit``, exact to 50 digits."""
    with localcontext(EXACT):
        return value - convert(last.value, last.unit, unit)


def _wrong_scale(
    value: Decimal, unit: Unit, on: date, last: PastMeasurement, limits: Limits
) -> Warned | None:
    """A ratio near pi, 2.54 or ten says more than "it jumped": it says what went wrong."""
    if _plausible(value, unit, on, last, limits):
        return None
    before = convert(last.value, last.unit, unit)
    if before <= 0:
        return None
    for factor, says in (
        (PI, "that looks like girth"),
        (1 / PI, "that looks like a diameter read as girth"),
        (Decimal("2.54"), "that looks like centimetres"),
        (1 / Decimal("2.54"), "that looks like inches"),
        (Decimal(10), "the decimal point looks one place off"),
        (Decimal("0.1"), "the decimal point looks one place off"),
    ):
        if abs(value / before / factor - 1) <= limits.ratio_tolerance:
            return Warned("scale or unit", says, "which side of the tape was read?")
    return None


def _plausible(value: Decimal, unit: Unit, on: date, last: PastMeasurement, limits: Limits) -> bool:
    return (
        _not_a_growth(value, unit, on, last, limits) is None
        and _implausible_jump(value, unit, on, last, limits) is None
    )


def _not_a_growth(
    value: Decimal, unit: Unit, on: date, last: PastMeasurement, limits: Limits
) -> Warned | None:
    before_mm = convert(last.value, last.unit, Unit.MILLIMETRE)
    loss_mm = before_mm - convert(value, unit, Unit.MILLIMETRE)
    if loss_mm < limits.shrink_sd * measurement_sd_mm(before_mm):
        return None
    down = -change_since(value, unit, last)
    sure = loss_mm >= limits.reject_sd * measurement_sd_mm(before_mm)
    says = f"that is down {shown(down)}" + (", more than a tape can err" if sure else "")
    return Warned("not a growth", says, "tape slack or twisted? above the paint line?")


def _implausible_jump(
    value: Decimal, unit: Unit, on: date, last: PastMeasurement, limits: Limits
) -> Warned | None:
    growth_mm = convert(change_since(value, unit, last), unit, Unit.MILLIMETRE)
    before_mm = convert(last.value, last.unit, Unit.MILLIMETRE)
    allowed = limits.growth_mm_a_year * years_between(last.on, on)
    # Two visits in one season still differ by measurement error alone.
    if growth_mm <= max(allowed, limits.reject_sd * measurement_sd_mm(before_mm)):
        return None
    up = change_since(value, unit, last)
    return Warned("implausible jump", f"that is up {shown(up)}", "is this the right tree?")


def shown(amount: Decimal) -> str:
    """An amount for people: two decimals at most, no trailing zeros."""
    rounded = amount.quantize(Decimal("0.01")).normalize()
    return f"{rounded:f}"
