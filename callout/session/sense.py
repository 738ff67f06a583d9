"""Callouts that make no sense for a tree are refused before the echo, with the reason.

These are not warnings that an "accept" answers: no tree has such a size, nobody reaches so high, or
it is unclear which stem is meant.
"""

from __future__ import annotations

from decimal import Decimal

from callout.core.checking.checks import Limits
from callout.core.meaning import Meaning
from callout.core.model import PlotSettings
from callout.core.saying import Saying, saying
from callout.core.told import unit_told
from callout.core.units import Unit, convert, too_large, too_small
from callout.session.draft import recorded_value
from callout.session.records import Stems

MOST_FIGURES = 9


def size_problem(meaning: Meaning, settings: PlotSettings) -> Saying | None:
    """Why the size called is impossible for a tree; None if it is possible or there is none."""
    raw = meaning.value
    if raw is None:
        return None
    if len(raw.as_tuple().digits) > MOST_FIGURES or raw.adjusted() >= MOST_FIGURES:
        figures = max(len(raw.as_tuple().digits), raw.adjusted() + 1)
        return saying("size-of-figures", count=figures)
    unit, scale = meaning.unit or settings.unit, meaning.scale or settings.scale
    if too_large(raw, unit, scale):
        return saying("size-too-large", size=_amount(raw, unit))
    kept = recorded_value(raw, unit, scale, settings)
    if kept <= 0 or too_small(raw, unit):
        return saying("size-of-nothing", size=_amount(raw, unit), kept=kept)
    return None


def _amount(value: Decimal, unit: Unit) -> Saying:
    return saying("amount", value=value, unit=unit_told(unit, short=True))


def stem_problem(meaning: Meaning, stems: Stems, shown: str) -> Saying | None:
    """Why it is unclear which stem of tree ``shown`` is meant."""
    named = [stem for stem in stems if stem]
    if meaning.stem or not named or "" in stems:
        return None
    *others, last = sorted(named)
    return saying("say-which-stem", tag=shown, count=len(named), stems=", ".join(others), last=last)


def height_problem(meaning: Meaning, limits: Limits) -> Saying | None:
    """Why nobody measured there: out of a standing person's reach, or of the plot's own limits.

    A height carried over from the roster is not checked here.
    """
    height_m, low, high = meaning.height_m, limits.lowest_m, limits.highest_m
    if height_m is None or low <= height_m <= high:
        return None
    called = height_said(meaning)
    if called is None and low <= convert(height_m, Unit.FOOT, Unit.METRE) <= high:
        called = saying("metres", metres=height_m)
        return saying("height-or-feet", called=called, lowest=low, highest=high)
    called = called or saying("metres", metres=height_m)
    return saying("height-out-of-reach", called=called, lowest=low, highest=high)


def height_said(meaning: Meaning) -> Saying | None:
    """The height in feet, as it was called, if it was."""
    if meaning.height_unit is None or meaning.height_m is None:
        return None
    feet = (meaning.height_m / meaning.height_unit.centimetres * 100).normalize()
    return saying("feet", feet=feet)
