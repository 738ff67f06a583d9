"""A tree's sizes over the years as a small drawing, and the same in words.

Binary floats only place dots; every number shown is the recorded text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from callout.core.model import PastMeasurement, Reading
from callout.core.units import convert

WIDTH, HEIGHT, MARGIN = 120, 34, 5
Dot = tuple[str, str]


@dataclass(frozen=True)
class Drawn:
    """``told`` has the earlier sizes in words; without ``dots``, which end today, no drawing."""

    told: str
    now: str = ""
    dots: Sequence[Dot] = ()
    width: int = WIDTH
    height: int = HEIGHT


def drawn(reading: Reading, past: Sequence[PastMeasurement]) -> Drawn:
    """The earlier sizes of the tree and this one; only words for one size or none."""
    told = ", ".join(f"{item.on.year}: {item.value} {item.unit.value}" for item in past)
    if reading.value is None or not past:
        return Drawn(told or "no earlier size")
    now = datetime.fromisoformat(reading.at).date()
    sizes = [(item.on, float(convert(item.value, item.unit, reading.unit))) for item in past]
    dots = _placed([*sizes, (now, float(reading.value))])
    return Drawn(told, f"{reading.value} {reading.unit.value}", dots)


def _placed(sizes: Sequence[tuple[date, float]]) -> list[Dot]:
    """Dots inside the drawing: time to the right, size upwards."""
    days = [on.toordinal() for on, _ in sizes]
    values = [value for _, value in sizes]
    return [
        (f"{_along(day, days, WIDTH):.1f}", f"{HEIGHT - _along(value, values, HEIGHT):.1f}")
        for day, value in zip(days, values, strict=True)
    ]


def _along(value: float, among: Sequence[float], length: int) -> float:
    low, high = min(among), max(among)
    part = (value - low) / (high - low) if high > low else 0.5
    return MARGIN + part * (length - 2 * MARGIN)
