"""Plots for the benchmark of the checks: trees that grow year by year, and a tape that errs.

All invented. Assumed of the stand: sizes as in an uneven-aged one (reverse J: from 10 cm up, the
excess exponential with mean 12 cm), four species, small trees slower, growth between trees gamma
of shape 2.5, one tree in fifteen nearly still, good and bad years for the plot (20 %) and for each
tree (30 %). The error of a reading is the census rule's (normal, 0.006214 d + 0.9036 mm), times
``error``. Nothing here knows the checks.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from callout.core.model import PastMeasurement, Plot, PlotSettings, Tree
from callout.core.units import Scale, Unit

GROWTH_MM = {"slow": 0.5, "usual": 1.0, "fast": 3.0}
SPECIES = {"beech": (0.40, 0.8), "hornbeam": (0.30, 0.9), "oak": (0.20, 1.2), "larch": (0.10, 1.7)}
LAST_YEAR = 2026
_MM = {Unit.CENTIMETRE: 10.0, Unit.INCH: 25.4}


@dataclass(frozen=True)
class Design:
    """How plots are made: mean growth in mm a year, years between visits, and the tape."""

    growth_mm: float
    every: int
    unit: Unit = Unit.CENTIMETRE
    scale: Scale = Scale.DIAMETER
    earlier: int = 3
    error: float = 1.0
    trees: int = 100
    released: float = 1.0


@dataclass(frozen=True)
class Stand:
    """A plot with its past, and what a careful person calls today, tree by tree as it is walked.

    ``called`` is on the tape's scale: a girth in a girth plot.
    """

    plot: Plot
    called: tuple[Decimal, ...]
    today: date


def make_stand(design: Design, number: int) -> Stand:
    """The same number gives the same stand."""
    chance = random.Random(f"{design}/{number}")
    years = design.every * design.earlier
    days = [date(LAST_YEAR - design.every * back, 6, 2) for back in range(design.earlier, -1, -1)]
    good = [chance.lognormvariate(0, 0.2) for _ in range(years)]
    trees, called = {}, []
    for at in range(design.trees):
        tag = str(at + 1)
        species, sizes = _grown(chance, design, good)
        read = [_read(chance, size, design) for size in sizes]
        past = tuple(
            PastMeasurement(on, _diameter(value, design), design.unit)
            for on, value in zip(days[:-1], read[:-1], strict=True)
        )
        trees[tag] = Tree("K2", tag, species, past)
        called.append(read[-1])
    settings = PlotSettings("K2", unit=design.unit, scale=design.scale)
    return Stand(Plot(settings, trees), tuple(called), days[-1])


def _grown(chance: random.Random, design: Design, good: list[float]) -> tuple[str, list[float]]:
    """A tree's species, and its diameter in mm at each visit."""
    species = chance.choices(list(SPECIES), [share for share, _ in SPECIES.values()])[0]
    size = 100 + min(chance.expovariate(1 / 120), 800)
    faster = SPECIES[species][1] / 1.012  # the mean over species and sizes is as designed
    rate = design.growth_mm * faster * chance.gammavariate(2.5, 1 / 2.5)
    rate *= (0.6 + 0.4 * min(size / 250, 1.6)) / 0.95
    rate *= 0.1 if chance.random() < 1 / 15 else 1.07
    sizes = [size]
    for year, of_year in enumerate(good):
        last = year >= len(good) - design.every
        size += rate * of_year * max(0.0, chance.gauss(1, 0.3)) * (design.released if last else 1)
        if (year + 1) % design.every == 0:
            sizes.append(size)
    return species, sizes


def _read(chance: random.Random, size_mm: float, design: Design) -> Decimal:
    """What the tape shows, on its scale, to its graduation of a tenth."""
    read_mm = chance.gauss(size_mm, design.error * (0.006214 * size_mm + 0.9036))
    on_tape = read_mm * (math.pi if design.scale is Scale.GIRTH else 1) / _MM[design.unit]
    return Decimal(on_tape).quantize(Decimal("0.1"), ROUND_HALF_UP)


def _diameter(called: Decimal, design: Design) -> Decimal:
    if design.scale is Scale.DIAMETER:
        return called
    return (called / Decimal(math.pi)).quantize(Decimal("0.1"), ROUND_HALF_UP)
