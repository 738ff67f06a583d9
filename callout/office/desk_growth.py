"""Which readings grew out of bounds: by the checks, limits and growth of their own plot.

As at the tree, but with what the other years of a site measured beside what the roster has.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from callout.core.checking.checks import compared
from callout.core.checking.checks_limits import DEFAULT_LIMITS, Limits
from callout.core.checking.checks_size import odd
from callout.core.model import PastMeasurement, Plot, PlotSettings, Reading, Tree
from callout.core.units import Unit
from callout.crews.twice import WITHIN_DAYS
from callout.journal.codec import settings_from
from callout.journal.folder import SurveyFolder
from callout.office.desk_index import DeskIndex, Found, Rostered, Sized
from callout.survey.check_settings import rules_in

GROWTH_TOLD = (
    "Shrunk, grown too fast or hardly grown since the visit before, by the plot's own earlier "
    "growth and limits, as at the tree; nobody ruled on it yet."
)
_STEM = "\x1f"  # between a tag and a stem: in no tag
Gathered = tuple[Sequence[Sized], Sequence[Rostered]]
"""The sizes and trees of a plot."""
_Told = tuple[Rostered, Sequence[PastMeasurement]]


@dataclass(frozen=True)
class _Measured:
    """How a recorder's plots are measured, and the limits of their checks."""

    settings: Mapping[str, PlotSettings]
    limits: Mapping[str, Limits]

    def of(self, plot: str) -> tuple[PlotSettings, Limits]:
        usual = next(iter(self.settings.values()), PlotSettings(plot=plot))
        settings = self.settings.get(plot) or replace(usual, plot=plot)
        return settings, self.limits.get(plot, DEFAULT_LIMITS)


class Growth:
    """Judges the readings of an index, plot by plot."""

    def __init__(self, index: DeskIndex) -> None:
        self._index = index
        self._measured = [_measured(folder) for _, folder in index.parts]

    def judge(self, plot: str) -> None:
        """Judge a plot's readings, and tell the index."""
        self._index.grow(plot, self.judged(plot, self.gathered(plot)))

    def gathered(self, plot: str) -> Gathered:
        """What the index has of a plot."""
        return self._index.sizes(plot), self._index.trees(plot)

    def judged(self, plot: str, gathered: Gathered) -> dict[Found, str]:
        """Each reading of the plot that grew out of bounds, and how; the index is not asked."""
        sizes, trees = gathered
        told = [(tree, past_in(tree.past)) for tree in trees]
        found: dict[Found, str] = {}
        for number in {size.found.recorder for size in sizes}:
            found.update(self._of_recorder(plot, number, sizes, told))
        return found

    def _of_recorder(
        self, plot: str, number: int, sizes: Sequence[Sized], told: Sequence[_Told]
    ) -> Iterator[tuple[Found, str]]:
        settings, limits = self._measured[number].of(plot)
        mine = [size for size in sizes if size.found.recorder == number]
        visit = min(_day(size) for size in mine)
        known = Plot(settings, _trees(plot, number, visit, sizes, told))
        for one in mine:
            tree, now = known.trees.get(_key(one)), _measurement(one)
            if tree is None or tree.last is None or now is None or now.unit is not settings.unit:
                continue
            of = compared(known, tree, now.value, now.value, now.on, limits, alive=one.alive)
            warned = odd(of) if of is not None else None
            if warned is not None:
                yield one.found, f"{warned.check}: {_size_told(tree.last)}, then {_size_told(now)}"

    def past(self, found: Found, reading: Reading) -> list[PastMeasurement]:
        """The stem's sizes before a reading: of the rosters, and of the site's other visits."""
        day = date.fromisoformat(reading.at[:10])
        past: list[PastMeasurement] = []
        for tree in self._index.trees(reading.plot, reading.tag):
            if not reading.stem:
                own = found.recorder in tree.recorders
                past += [one for one in past_in(tree.past) if own or _before(one, day)]
        for size in self._index.sizes(reading.plot, reading.tag):
            one = _measurement(size)
            if size.stem == reading.stem and one is not None and _before(one, day):
                past.append(one)
        return sorted(dict.fromkeys(past), key=lambda one: one.on)


def _trees(
    plot: str, number: int, visit: date, sizes: Sequence[Sized], told: Sequence[_Told]
) -> dict[str, Tree]:
    """Every stem that a recorder's roster, or an earlier visit, has a size of, in its order."""
    species = {tree.tag: tree.species for tree, _ in told}
    past: dict[str, list[PastMeasurement]] = {}
    for tree, earlier in told:
        if number in tree.recorders:
            past[tree.tag] = list(earlier)
    others = [(tree.tag, one) for tree, earlier in told for one in earlier]
    others += [(_key(size), one) for size in sizes if (one := _measurement(size)) is not None]
    for key, one in others:
        # Of one visit one size is enough: two of the same week are no growth.
        if _before(one, visit) and not any(_together(one, other) for other in past.get(key, ())):
            past.setdefault(key, []).append(one)
    return {
        key: Tree(plot, key, species.get(key, ""), tuple(sorted(found, key=lambda one: one.on)))
        for key, found in past.items()
    }


def _measured(folder: SurveyFolder) -> _Measured:
    with folder.reading() as reader:
        settings = reader.latest("settings")
    if settings is None:
        return _Measured({}, {})
    limits = {name: rules.limits for name, rules in rules_in(settings.content).items()}
    return _Measured(settings_from(settings.content), limits)


def past_in(told: str) -> list[PastMeasurement]:
    """A roster's earlier sizes, from its JSON."""
    return [
        PastMeasurement(date.fromisoformat(one["on"]), Decimal(one["value"]), Unit(one["unit"]))
        for one in json.loads(told)
    ]


def _measurement(one: Sized) -> PastMeasurement | None:
    """None for what no journal of ours would hold."""
    try:
        return PastMeasurement(_day(one), Decimal(one.value), Unit(one.unit))
    except (ArithmeticError, ValueError):
        return None


def _day(one: Sized) -> date:
    return date.fromisoformat(one.at[:10])


def _before(one: PastMeasurement, visit: date) -> bool:
    return (visit - one.on).days > WITHIN_DAYS


def _together(one: PastMeasurement, other: PastMeasurement) -> bool:
    return abs((one.on - other.on).days) <= WITHIN_DAYS


def _key(one: Sized) -> str:
    return f"{one.tag}{_STEM}{one.stem}" if one.stem else one.tag


def _size_told(size: PastMeasurement) -> str:
    return f"{size.value} {size.unit.value} on {size.on}"
