"""Slips that explain a diameter better than growth does: side, unit, digits, tag, repetition.

Each asks: with the slip undone, how well would the size fit the expected size of this tree (or the
size as called, that of a neighbouring tree)? None of them proposes a value; the measurer looks
again. Whether a size is odd at all is decided in ``checks_size``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext
from functools import lru_cache, partial

from callout.core.checking.checks_digits import one_off, sounding_alike, swapped
from callout.core.checking.checks_growth import FIGURES, Expected
from callout.core.checking.checks_size import Compared, change_told, time_told
from callout.core.model import Warned
from callout.core.saying import Saying, saying
from callout.core.told import unit_told
from callout.core.units import PI, Unit, convert

_INCH_CM = Decimal("2.54")
_TEN = Decimal(10)
_NORMAL = Decimal("2.5066282746310005")  # the square root of 2 pi
_MOST_OFF = Decimal(30)  # beyond this, everything is equally unlikely


@dataclass(frozen=True)
class Slip:
    """A suspicion, with each size (mm) it would stand for and the expectation to compare it with.

    ``tell`` makes the warning, which is seldom needed. ``tried`` counts the alternatives, each of
    which may fit by chance.
    """

    tell: Callable[[], Warned]
    ways: tuple[tuple[Decimal, Expected], ...]
    tried: int


def likeliest_slip(of: Compared, tags_alone: bool = False) -> Warned | None:
    """The slip that explains the size best, if one explains it far better than growth does.

    The more alternatives a slip has, the better it must fit. ``tags_alone``: only the tag is
    doubted, not the figure.
    """
    repeated = figure_again(of)
    if repeated is not None:
        return repeated
    with localcontext(FIGURES):
        better = 2 * _ln(of.limits.slip_times)
        # A size near the expected one cannot be improved that much by undoing a slip of its digits.
        doubted = not tags_alone and of.off**2 >= better
        tried = [*(figure_slips(of) if doubted else ()), *tag_slips(of)]
        told: tuple[Decimal, Slip] | None = None
        for slip in tried:
            misfit = _best_misfit(of, slip)
            if misfit is None or _misfit(of.value_mm, of.expected) - misfit < better:
                continue
            if told is None or misfit < told[0]:
                told = misfit, slip
        return told[1].tell() if told is not None else None


def figure_slips(of: Compared) -> Iterator[Slip]:
    """Every possible slip of side, unit, point or digits, with the sizes it would stand for."""
    for name, factor, large, small, look in _SCALED:
        yield _undone(of, partial(_scaled, of, name, large, look), [of.value / factor])
        yield _undone(of, partial(_scaled, of, name, small, look), [of.value * factor])
    for warned, made in _DIGITS:
        called = [Decimal(text) for text in made(f"{of.called:f}")]
        tell = partial(_with_change, of, warned)
        yield _undone(of, tell, [of.value * one / of.called for one in called if of.called])


def _scaled(of: Compared, name: str, says: Saying, look: Saying) -> Warned:
    """A size called in the plot's own unit was not read in that unit by mistake."""
    own, other = _READ_AS.get(says.key, (None, says))
    called_so = abs(of.called - of.value) <= of.graduation
    return Warned(name, other if own is of.unit and called_so else says, look)


def tag_slips(of: Compared) -> Iterator[Slip]:
    """The size as called, for the tree before or after in the walk."""
    for tag, tree in of.neighbours.items():
        yield Slip(partial(_beside, of, tag), ((of.value_mm, tree),), len(of.neighbours))


def figure_again(of: Compared) -> Warned | None:
    """The same figure as the tree before or as last time, where that is unlikely by chance."""
    chance = _chance_of_figure(of)
    if chance >= of.limits.repeat_chance:
        return None
    if of.just_before is not None and of.value == of.just_before:
        return Warned("tree before", saying("warn-tree-before"), saying("look-right-tree"))
    if of.value_mm == of.before_mm:
        says = saying("warn-figure-again", time=time_told(of.last.on, of.on))
        return Warned("last time again", says, saying("look-remembered"))
    return None


def _chance_of_figure(of: Compared) -> Decimal:
    """The probability that a tree that grew as expected gives just this figure on the tape."""
    with localcontext(FIGURES):
        off = min(abs(of.off), _MOST_OFF)
        width = _mm(of, of.graduation) / of.expected.sd_mm
        return width * (-off * off / 2).exp() / _NORMAL


def _with_change(of: Compared, warned: Warned) -> Warned:
    says = saying("warn-with-change", change=change_told(of), slip=warned.says)
    return replace(warned, says=says)


def _beside(of: Compared, tag: str) -> Warned:
    says = saying("warn-fits-other", change=change_told(of), tag=tag)
    return Warned("tree beside", says, saying("look-right-tag"))


def _undone(of: Compared, tell: Callable[[], Warned], values: Iterable[Decimal]) -> Slip:
    ways = tuple((_mm(of, value), of.expected) for value in values if value > 0)
    return Slip(tell, ways, len(ways))


def _mm(of: Compared, value: Decimal) -> Decimal:
    return convert(value, of.unit, Unit.MILLIMETRE)


@lru_cache(maxsize=64)
def _ln(number: Decimal) -> Decimal:
    """Cached, since few different numbers are ever asked for."""
    return FIGURES.ln(number)


def _misfit(size_mm: Decimal, whose: Expected) -> Decimal:
    """Minus twice the log-likelihood, up to a constant."""
    off = whose.off(size_mm)
    return off * off + 2 * whose.ln_sd


def _best_misfit(of: Compared, slip: Slip) -> Decimal | None:
    """The misfit of the best alternative plus a penalty for their number; None if none fits."""
    fitting = [
        _misfit(size, whose)
        for size, whose in slip.ways
        if abs(whose.off(size)) <= of.limits.fits_sd
    ]
    return min(fitting) + 2 * _ln(Decimal(slip.tried)) if fitting else None


_SIDE, _UNIT, _POINT = saying("look-side"), saying("look-unit"), saying("warn-decimal")
_SCALED = (
    ("wrong side", PI, saying("warn-girth"), saying("warn-diameter"), _SIDE),
    ("wrong unit", _INCH_CM, saying("warn-centimetres"), saying("warn-inches"), _UNIT),
    ("slipped decimal", _TEN, _POINT, _POINT, saying("look-point")),
)


_READ_AS = {
    "warn-centimetres": (Unit.CENTIMETRE, saying("warn-converted", unit=unit_told(Unit.INCH))),
    "warn-inches": (Unit.INCH, saying("warn-converted", unit=unit_told(Unit.CENTIMETRE))),
}
"""What else it looks like where the plot is kept in that unit: a figure that was converted."""


def _swapped(text: str) -> Iterator[str]:
    """Swaps that give a number as people call it: 301 was never 031."""
    return (one for one in swapped(text) if not one.startswith("0") or text.startswith("0"))


_READ = saying("look-tape")
_DIGITS: tuple[tuple[Warned, Callable[[str], Iterator[str]]], ...] = (
    (Warned("sounds alike", saying("warn-alike"), saying("look-digits")), sounding_alike),
    (Warned("swapped digits", saying("warn-swapped"), _READ), _swapped),
    (Warned("neighbouring digit", saying("warn-one-off"), _READ), one_off),
)
