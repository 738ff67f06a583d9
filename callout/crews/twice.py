"""Trees that two recorders measured within days of each other with different results.

Decides nothing: a person rules which reading counts. The allowed difference between two diameters
is passed in. Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import combinations

from callout.core.units import Unit, convert
from callout.crews.place import Standing

WITHIN_DAYS = 60
Allowed = Callable[[Decimal, Unit], Decimal]
"""How far a diameter in that unit may be from its second measurement, in the same unit."""


@dataclass(frozen=True)
class Disagreement:
    """Two readings of one stem, the earlier first, and how they differ."""

    first: Standing
    second: Standing
    about: str

    @property
    def told(self) -> str:
        """Both readings in one line, without a choice between them."""
        reading = self.first.reading
        stem = f" stem {reading.stem}" if reading.stem else ""
        return (
            f"{reading.plot} {reading.tag}{stem}: "
            f"{reading_told(self.first)}, {reading_told(self.second)} ({self.about})"
        )


def reading_told(item: Standing) -> str:
    """The reading, by whom, when, and its journal entry."""
    reading, value = item.reading, value_of(item)
    what = reading.status_told if value is None else f"{value} {reading.unit.value}"
    return f"{what} by {reading.who} on {reading.at[:10]} [{item.name}]"


def value_of(item: Standing) -> Decimal | None:
    """The diameter that counts: as amended by a ruling, else as recorded."""
    if item.ruling is not None and item.ruling.value is not None:
        return item.ruling.value
    return item.reading.value


def disagreements(standing: Iterable[Standing], allowed: Allowed) -> list[Disagreement]:
    """Pairs of readings of a stem by different recorders that differ and are not settled.

    A pair is settled if one was ruled void, or both were ruled on and stay.
    """
    by_stem: dict[tuple[str, str, str], list[Standing]] = {}
    for item in standing:
        if not item.void:
            by_stem.setdefault(item.key, []).append(item)
    found = [pair for items in by_stem.values() for pair in _pairs(items, allowed)]
    return sorted(found, key=lambda pair: (pair.first.key, pair.first.reading.at))


def _pairs(items: list[Standing], allowed: Allowed) -> Iterator[Disagreement]:
    ordered = sorted(items, key=lambda item: (_at(item), item.recorder, item.reading.entry))
    for first, second in combinations(ordered, 2):
        apart = _at(second) - _at(first)
        if first.recorder == second.recorder or apart.days > WITHIN_DAYS:
            continue
        about = "" if first.ruling and second.ruling else _difference(first, second, allowed)
        if about:
            yield Disagreement(first, second, about)


def _at(item: Standing) -> datetime:
    return datetime.fromisoformat(item.reading.at)


def _difference(first: Standing, second: Standing, allowed: Allowed) -> str:
    one, other = first.reading, second.reading
    if one.is_new and other.is_new and one.species != other.species:
        return "new with both, of another species: two trees with one tag?"
    mine, theirs = value_of(first), value_of(second)
    if mine is None or theirs is None:
        return "" if one.status == other.status else "state differs"
    apart = abs(convert(theirs, other.unit, one.unit) - mine)
    if apart <= max(
        allowed(mine, one.unit), convert(allowed(theirs, other.unit), other.unit, one.unit)
    ):
        return ""
    heights = "" if one.height_m == other.height_m else ", not at the same height"
    return f"{apart.quantize(Decimal('0.01'))} {one.unit.value} apart{heights}"
