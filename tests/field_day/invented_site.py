"""An invented site, Harrow Fen: three plots of 100 trees, three earlier visits and today.

All invented and drawn from a number that is given, so that the same number gives the same site.
Sizes are log-normal around 25 cm. Growth differs from tree to tree and hardly from visit to visit:
gamma of shape 1.5 around a mean for the species; one tree in twelve stands nearly still. The error
of every measurement, today's too, is the census rule's: normal, SD 0.006214 d + 0.9036 mm.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

from callout.core.model import PastMeasurement, Tree
from callout.core.units import Unit

VISITS = (date(2011, 6, 7), date(2016, 6, 14), date(2021, 6, 9))
TODAY = date(2026, 6, 2)
UNITS = {"K1": Unit.INCH, "K2": Unit.CENTIMETRE, "K3": Unit.CENTIMETRE}
# Mean growth, mm a year (invented; mixed temperate stands grow about this).
GROWTH_MM = {"beech": 2.5, "red oak": 3.5, "white pine": 4.0, "red spruce": 2.0}
TREES_A_PLOT = 100
_MM = {Unit.INCH: 25.4, Unit.CENTIMETRE: 10.0}


@dataclass(frozen=True)
class Standing:
    """A tree with its record, and what a careful crew reads on it today, in the plot's unit."""

    tree: Tree
    unit: Unit
    today: Decimal | None  # None: dead today, as last time


def make_site(number: int, released: float = 1.0) -> list[Standing]:
    """300 trees of three plots; one in twenty was dead at the last visit.

    ``released``: times as fast since the last visit as before, as after a thinning.
    """
    chance = random.Random(number)
    site = []
    for plot, unit in UNITS.items():
        for at in range(TREES_A_PLOT):
            site.append(_standing(chance, plot, str(at + 1 + 100 * (plot == "K3")), unit, released))
    return site


def _standing(chance: random.Random, plot: str, tag: str, unit: Unit, released: float) -> Standing:
    species = chance.choice(sorted(GROWTH_MM))
    size_mm = min(max(chance.lognormvariate(5.52, 0.45), 60.0), 900.0)
    mean = 0.15 if chance.random() < 1 / 12 else chance.gammavariate(1.5, GROWTH_MM[species] / 1.5)
    past = []
    for on, before in zip((*VISITS, TODAY), (VISITS[0], *VISITS), strict=True):
        faster = released if on == TODAY else 1.0
        size_mm += faster * mean * chance.uniform(0.7, 1.3) * (on - before).days / 365.25
        past.append(PastMeasurement(on, _measured(chance, size_mm, unit), unit))
    dead = chance.random() < 0.05
    extra = {"status": "dead standing"} if dead else {}
    return Standing(
        Tree(plot, tag, species, tuple(past[:-1]), extra), unit, None if dead else past[-1].value
    )


def _measured(chance: random.Random, size_mm: float, unit: Unit) -> Decimal:
    read_mm = chance.gauss(size_mm, 0.006214 * size_mm + 0.9036)
    return Decimal(read_mm / _MM[unit]).quantize(Decimal("0.1"), ROUND_HALF_UP)


def write_roster(site: list[Standing], path: Path) -> None:
    """The site as a roster CSV; the unit is named for every size."""
    lines = ["plot,tag,species,status," + ",".join(f"date{n},value{n},unit{n}" for n in (1, 2, 3))]
    for standing in site:
        tree = standing.tree
        past = ",".join(f"{p.on.isoformat()},{p.value},{p.unit.value}" for p in tree.past)
        status = tree.extra.get("status", "")
        lines.append(f"{tree.plot},{tree.tag},{tree.species},{status},{past}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
