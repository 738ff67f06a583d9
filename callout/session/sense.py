"""What makes no sense at a tree is refused before it is echoed; why, in words for people.

These are no suspicions that an "accept" answers: no tree has such a size, nobody reaches so high,
or it cannot be told which stem is meant.
"""

from __future__ import annotations

from callout.core.checks import Limits
from callout.core.meaning import Meaning
from callout.core.model import PlotSettings
from callout.core.units import too_large, too_small
from callout.session.draft import recorded_value
from callout.session.records import Stems

MOST_FIGURES = 9


def size_problem(meaning: Meaning, settings: PlotSettings) -> str | None:
    """Why the size that was called can be no tree's; None where there is none, or it can."""
    raw = meaning.value
    if raw is None:
        return None
    if len(raw.as_tuple().digits) > MOST_FIGURES or raw.adjusted() >= MOST_FIGURES:
        figures = max(len(raw.as_tuple().digits), raw.adjusted() + 1)
        return f"a size of {figures} figures cannot be read: call it again"
    unit, scale = meaning.unit or settings.unit, meaning.scale or settings.scale
    if too_large(raw, unit, scale):
        return f"{raw} {unit.value} is larger than any tree: call it again"
    kept = recorded_value(raw, unit, scale, settings)
    if kept <= 0 or too_small(raw, unit):
        return f"{raw} {unit.value} would be kept as {kept}, which is no size: call it again"
    return None


def stem_problem(meaning: Meaning, stems: Stems, shown: str) -> str | None:
    """Why it cannot be told which stem of tree ``shown`` is meant."""
    named = [stem for stem in stems if stem]
    if meaning.stem or not named or "" in stems:
        return None
    told = f"stem {named[0]}" if len(named) == 1 else f"stems {' and '.join(sorted(named))}"
    return f"tree {shown} has {told} saved: say which stem"


def height_problem(meaning: Meaning, limits: Limits) -> str | None:
    """Why nobody measured there: out of a standing person's reach, or of the plot's own limits.

    The height that a roster tells of a tree is carried over, and is not asked about here.
    """
    height_m, low, high = meaning.height_m, limits.lowest_m, limits.highest_m
    if height_m is None or low <= height_m <= high:
        return None
    feet = height_m if meaning.height_unit is None else None
    told = f"{feet} metres" if feet is not None else f"{height_said(meaning)}"
    meant = ", or was it feet" if feet is not None and feet <= high * 3 else ""
    return f"{told} is out of reach: say a height of {low} to {high} metres{meant}"


def height_said(meaning: Meaning) -> str:
    """A height as it was called, where that was in feet; else ''."""
    if meaning.height_unit is None or meaning.height_m is None:
        return ""
    feet = (meaning.height_m / meaning.height_unit.centimetres * 100).normalize()
    return f"{feet:f} feet"
