"""Faults that are planted in a day's walk: what is said, and what ought to be suspected.

Trees are drawn at random among those where the fault is one: a neighbour's value must be another
by 5 cm or more, swapped digits are the tens and units, and sixteen needs a sixteen. No check is
asked in choosing.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from invented_site import Standing

from callout.core.units import PI, Unit, convert

EACH = 6
TENTH = Decimal("0.1")
KINDS = (
    "wrong side", "wrong unit", "slipped decimal", "swapped digits", "sounds alike", "tree before",
    "shrunk", "measured today", "dead last time",
)  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """A kind, named as the check that should see it, and what is typed in place of the truth."""

    kind: str
    typed: str


def plant(site: list[Standing], number: int) -> dict[int, Fault]:
    """Faults by the tree's place in the walk, ``EACH`` of every kind that the site has room for."""
    chance = random.Random(number)
    found: dict[int, Fault] = {}
    for kind in KINDS:
        places = list(range(len(site)))
        chance.shuffle(places)
        left = EACH
        for place in places:
            neighbours = {place - 1, place, place + 1}
            fault = None if neighbours & set(found) or not left else _fault(kind, site, place)
            if fault is not None:
                found[place] = fault
                left -= 1
    return found


def _fault(kind: str, site: list[Standing], place: int) -> Fault | None:
    item, before = site[place], site[place - 1] if place else None
    if kind == "dead last time":
        last = item.tree.last
        return Fault(kind, f"{item.tree.tag} {last.value}") if item.today is None and last else None
    if item.today is None or before is None or before.tree.plot != item.tree.plot:
        return None
    if kind == "measured today":  # twin tags: the tag of the tree before is read once more
        return Fault(kind, f"{before.tree.tag} {item.today}")
    if kind == "tree before":
        return _neighbour(kind, item, before)
    value = _slipped(kind, item)
    return None if value is None else Fault(kind, f"{item.tree.tag} {value}")


def _neighbour(kind: str, item: Standing, before: Standing) -> Fault | None:
    if before.today is None or item.today is None:
        return None
    apart = convert(abs(before.today - item.today), item.unit, Unit.CENTIMETRE)
    return Fault(kind, f"{item.tree.tag} {before.today}") if apart >= 5 else None


def _slipped(kind: str, item: Standing) -> Decimal | None:
    assert item.today is not None and item.tree.last is not None
    value, text = item.today, str(item.today)
    if kind == "wrong side":
        return _read(value * PI)
    if kind == "wrong unit":
        inch = Decimal("2.54")
        return _read(value * inch if item.unit is Unit.INCH else value / inch)
    if kind == "slipped decimal":
        return _read(value * 10 if value < 15 else value / 10)
    if kind == "shrunk":
        return _read(item.tree.last.value * Decimal("0.95"))
    if kind == "swapped digits":
        swap = len(text) == 4 and text[0] != text[1] and text[1] != "0"
        return Decimal(text[1] + text[0] + text[2:]) if swap else None
    if text[0] == "1" and len(text) == 4 and text[1] in "3456789":
        return Decimal(text[1] + "0" + text[2:])
    if len(text) == 4 and text[1] == "0" and text[0] in "3456789":
        return Decimal("1" + text[0] + text[2:])
    return None


def _read(value: Decimal) -> Decimal:
    return value.quantize(TENTH, ROUND_HALF_UP)
