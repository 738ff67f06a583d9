"""How the trees of a plot grew before, and what size to expect of one of them today.

Uses only the roster's earlier measurements: a robust centre and spread of growth for the plot, for
each species, and for each size class of a species. The fewer trees a group has, the more its rates
are drawn to those of the wider group; the plot's are drawn to a general rate. A tree's own record
then adjusts its expected size. Pure; ``checks_size`` and ``checks_slips`` judge the size.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Context, Decimal, localcontext
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from callout.core.checking.checks_limits import Limits, measurement_sd_mm, years_between
from callout.core.units import Unit, convert

if TYPE_CHECKING:  # Plot imports PlotGrowth
    from callout.core.model import PastMeasurement, PlotSettings, Tree

FIGURES = Context(prec=16)
"""Precision for estimates: more digits than any tape shows."""
_GENERAL = Decimal(2)  # mm a year where nothing is known: invented, typical of temperate stands
_FEW = Decimal(8)  # the wider group counts as much as this many trees
_CLASSES_MM = (Decimal(150), Decimal(300), Decimal(500))
_OF_MAD = Decimal("1.4826")  # standard deviation of a normal distribution per MAD
_LEAST_ERROR = Decimal("0.2")  # of the published error variance: a floor for the plot
_NEAR = 32
"""So many trees' expectations are remembered: those at hand, not all of a season."""
_BROKEN_SD = Decimal(4)  # an earlier step further off than this says nothing about growth

Group = tuple[str, int | None]
"""A species in lower case ('' for any) and a size class (None for any)."""


@dataclass(frozen=True)
class Rates:
    """Growth of a group of ``trees`` trees: ``centre`` and ``spread`` between trees, mm a year."""

    centre: Decimal
    spread: Decimal
    trees: Decimal


@dataclass(frozen=True)
class PlotGrowth:
    """The plot's own earlier growth.

    ``error_share`` (0.2 to 1) is the variance of its measurement error over the published one;
    ``graduation_mm`` is the tape's graduation.
    """

    groups: Mapping[Group, Rates]
    error_share: Decimal
    graduation_mm: Decimal

    @cached_property
    def reckoned(self) -> dict[str, _Reckoned]:
        """By tag, what was last expected of a few trees: their neighbours in the walk ask too."""
        return {}

    def rates(self, tree: Tree, limits: Limits) -> Rates:
        """The rates expected for a tree like this one, before its own record is considered."""
        usual = (limits.usual_growth_mm_a_year - _GENERAL) / limits.fast_sd
        found = Rates(_GENERAL, max(usual, Decimal("0.1")), Decimal(0))
        for group in _groups_of(tree):
            found = _leaning(self.groups.get(group), found)
        return found

    def error_mm2(self, diameter_mm: Decimal) -> Decimal:
        """Variance of one measurement, mm²: measurement error plus graduation."""
        hand = measurement_sd_mm(diameter_mm)
        return hand * hand * self.error_share + self.graduation_mm * self.graduation_mm / 12


@dataclass(frozen=True)
class Expected:
    """The diameter expected today, mm: mean and standard deviation."""

    middle_mm: Decimal
    sd_mm: Decimal

    def off(self, diameter_mm: Decimal) -> Decimal:
        """By how many standard deviations a diameter is above (or below) the mean."""
        return FIGURES.divide(FIGURES.subtract(diameter_mm, self.middle_mm), self.sd_mm)

    @cached_property
    def ln_sd(self) -> Decimal:
        """The natural logarithm of ``sd_mm``."""
        return FIGURES.ln(self.sd_mm)


@dataclass(frozen=True)
class _Reckoned:
    """What was expected, and of what it was reckoned."""

    tree: Tree
    on: date
    limits: Limits
    expected: Expected


# ---- of the plot ----


def growth_of(trees: Iterable[Tree], settings: PlotSettings) -> PlotGrowth:
    """The growth shown by the trees' earlier measurements."""
    with localcontext(FIGURES):
        graduation = convert(settings.graduation, settings.unit, Unit.MILLIMETRE)
        steps = {
            tree.tag: list(pairwise(_sizes(tree.past))) for tree in trees if len(tree.past) > 1
        }
        plain = PlotGrowth({}, Decimal(1), graduation)
        known = [tree for tree in trees if tree.tag in steps]
        share = _error_share([step for each in steps.values() for step in each], plain)
        plain = PlotGrowth({}, share, graduation)
        rates: dict[Group, list[tuple[Decimal, Decimal]]] = {}
        for tree in known:
            found = _own_rate(tree.past, plain)
            for group in _groups_of(tree):
                rates.setdefault(group, []).append(found)
        groups = {group: _rates_of(found) for group, found in rates.items()}
        return PlotGrowth(groups, share, graduation)


_Size = tuple[date, Decimal]


def _sizes(past: Sequence[PastMeasurement]) -> list[_Size]:
    return [(item.on, convert(item.value, item.unit, Unit.MILLIMETRE)) for item in past]


def _groups_of(tree: Tree) -> tuple[Group, ...]:
    """From the whole plot to the tree's own size class."""
    species = tree.species.casefold()
    last = _sizes(tree.past[-1:])
    size = sum(last[0][1] >= limit for limit in _CLASSES_MM) if last else None
    named: tuple[Group, ...] = ((species, None),) if species else ()
    return (("", None), *named, (species, size))


def _own_rate(past: Sequence[PastMeasurement], plain: PlotGrowth) -> tuple[Decimal, Decimal]:
    """A tree's rate over its whole record, mm a year, and the variance of its error."""
    (first_on, first), *_, (last_on, last) = _sizes(past)
    years = years_between(first_on, last_on)
    error = (plain.error_mm2(first) + plain.error_mm2(last)) / (years * years)
    return (last - first) / years, error


def _rates_of(found: Sequence[tuple[Decimal, Decimal]]) -> Rates:
    rates, errors = [rate for rate, _ in found], [error for _, error in found]
    centre = _quantile(rates, Decimal("0.5"))
    spread = _OF_MAD * _quantile([abs(rate - centre) for rate in rates], Decimal("0.5"))
    # Growth is skewed: a few trees grow much faster than most.
    spread = max(spread, _quantile(rates, Decimal("0.84")) - centre)
    left = max(Decimal(0), spread * spread - _quantile(errors, Decimal("0.5")))
    return Rates(centre, left.sqrt(), Decimal(len(rates)))


def _error_share(steps: Sequence[tuple[_Size, _Size]], plain: PlotGrowth) -> Decimal:
    """Ratio of the scatter of the plot's steps to what the published error alone would give.

    Growth differs between trees too, so this can only overestimate the error.
    """
    if not steps:
        return Decimal(1)
    centre = _quantile(
        [(new - old) / years_between(was, on) for (was, old), (on, new) in steps], Decimal("0.5")
    )
    off = [
        (new - old - centre * years_between(was, on)) ** 2
        / (plain.error_mm2(old) + plain.error_mm2(new))
        for (was, old), (on, new) in steps
    ]
    share = _OF_MAD * _OF_MAD * _quantile(off, Decimal("0.5"))
    trees = Decimal(len(off))
    return max(_LEAST_ERROR, min(Decimal(1), (trees * share + _FEW) / (trees + _FEW)))


def _quantile(values: Sequence[Decimal], share: Decimal) -> Decimal:
    """The quantile at ``share``, linearly interpolated."""
    ordered = sorted(values)
    place = share * (len(ordered) - 1)
    at = int(place)
    if at + 1 == len(ordered):
        return ordered[at]
    return ordered[at] + (place - at) * (ordered[at + 1] - ordered[at])


def _leaning(own: Rates | None, wider: Rates) -> Rates:
    """A group's rates, drawn towards the wider group's; the fewer its trees, the more."""
    if own is None:
        return wider
    weight = own.trees / (own.trees + _FEW)
    variance = weight * own.spread**2 + (1 - weight) * wider.spread**2
    between = weight * (1 - weight) * (own.centre - wider.centre) ** 2
    centre = weight * own.centre + (1 - weight) * wider.centre
    return Rates(centre, (variance + between).sqrt(), own.trees)


# ---- of one tree ----


def expected(
    growth: PlotGrowth, tree: Tree, on: date, limits: Limits, alive: bool = True
) -> Expected | None:
    """The diameter expected of ``tree`` on a day; None for a tree without earlier measurements.

    Size and rate are followed from visit to visit, each with its error (a Kalman filter of two
    states). An earlier step that cannot be growth restarts the size. A tree that is not ``alive``
    has stood still, or has died since it was last seen.
    """
    if not tree.past:
        return None
    if not alive:
        with localcontext(FIGURES):
            return _stood_still(growth, tree, on, limits)
    known = growth.reckoned.get(tree.tag)
    if known is None or known.tree is not tree or known.on != on or known.limits is not limits:
        with localcontext(FIGURES):
            found = _followed(growth, tree, limits).ahead(on).seen(growth)
        if len(growth.reckoned) >= _NEAR:
            growth.reckoned.clear()
        known = growth.reckoned[tree.tag] = _Reckoned(tree, on, limits, found)
    return known.expected


def _stood_still(growth: PlotGrowth, tree: Tree, on: date, limits: Limits) -> Expected:
    ((was, size),) = _sizes(tree.past[-1:])
    grown = growth.rates(tree, limits).centre * years_between(was, on)
    return Expected(size, (2 * growth.error_mm2(size) + grown * grown).sqrt())


@dataclass(frozen=True)
class _State:
    """Size (mm) and rate (mm a year) on a day, with their variances and covariance."""

    on: date
    size: Decimal
    rate: Decimal
    of_size: Decimal
    of_both: Decimal
    of_rate: Decimal
    varies: Decimal  # variance of a tree's growth from one interval to the next, (mm a year)²

    def ahead(self, on: date) -> _State:
        years = years_between(self.on, on)
        return _State(
            on,
            self.size + years * self.rate,
            self.rate,
            self.of_size + 2 * years * self.of_both + years**2 * (self.of_rate + self.varies),
            self.of_both + years * self.of_rate,
            self.of_rate,
            self.varies,
        )

    def seen(self, growth: PlotGrowth) -> Expected:
        error = growth.error_mm2(max(self.size, Decimal(1)))
        return Expected(self.size, (self.of_size + error).sqrt())


def _followed(growth: PlotGrowth, tree: Tree, limits: Limits) -> _State:
    rates = growth.rates(tree, limits)
    (on, size), *later = _sizes(tree.past)
    varies = (limits.growth_varies * max(rates.centre, Decimal(0))) ** 2
    state = _State(
        on, size, rates.centre, growth.error_mm2(size), Decimal(0), rates.spread**2, varies
    )
    for on, size in later:
        state = _corrected(state.ahead(on), size, growth)
    own = (limits.growth_varies * max(state.rate, Decimal(0))) ** 2
    return _State(
        state.on, state.size, state.rate, state.of_size, state.of_both, state.of_rate, own
    )


def _corrected(state: _State, size: Decimal, growth: PlotGrowth) -> _State:
    """The state after ``size`` was measured."""
    error = growth.error_mm2(size)
    total = state.of_size + error
    off = size - state.size
    if off * off > _BROKEN_SD**2 * total:
        return _State(state.on, size, state.rate, error, Decimal(0), state.of_rate, state.varies)
    gain, gain_rate = state.of_size / total, state.of_both / total
    return _State(
        state.on,
        state.size + gain * off,
        state.rate + gain_rate * off,
        (1 - gain) * state.of_size,
        (1 - gain) * state.of_both,
        state.of_rate - gain_rate * state.of_both,
        state.varies,
    )
