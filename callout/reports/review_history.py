"""A tree's sizes over the years as a small drawing, and the same in words.

Binary floats only place dots; every number shown is the recorded text.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from html import escape

from callout.core.model import PastMeasurement, Reading
from callout.core.units import convert

WIDTH, HEIGHT, MARGIN = 120, 34, 5
Dot = tuple[float, float]


def history_cell(reading: Reading, past: Sequence[PastMeasurement]) -> str:
    """The sparkline as inline SVG, described in words; only words for one size or none."""
    told = ", ".join(f"{item.on.year}: {item.value} {item.unit.value}" for item in past)
    if reading.value is None or not past:
        return f"<small>{escape(told) or 'no earlier size'}</small>"
    now = datetime.fromisoformat(reading.at).date()
    sizes = [(item.on, float(convert(item.value, item.unit, reading.unit))) for item in past]
    dots = _placed([*sizes, (now, float(reading.value))])
    name = escape(f"{told}, now: {reading.value} {reading.unit.value}", quote=True)
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in dots)
    small = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2"/>' for x, y in dots[:-1])
    x, y = dots[-1]
    warned = ' class="warned"' if reading.warnings else ""
    return (
        f'<svg role="img" aria-label="{name}" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}"{warned}><title>{name}</title>'
        f'<polyline points="{line}"/>{small}<circle class="now" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>'
        f"</svg><small>{escape(told)}</small>"
    )


def _placed(sizes: Sequence[tuple[date, float]]) -> list[Dot]:
    """Dots inside the drawing: time to the right, size upwards."""
    days = [on.toordinal() for on, _ in sizes]
    values = [value for _, value in sizes]
    return [
        (_along(day, days, WIDTH), HEIGHT - _along(value, values, HEIGHT))
        for day, value in zip(days, values, strict=True)
    ]


def _along(value: float, among: Sequence[float], length: int) -> float:
    low, high = min(among), max(among)
    part = (value - low) / (high - low) if high > low else 0.5
    return MARGIN + part * (length - 2 * MARGIN)
