"""Pairs the readings of two walks, stem by stem.

The first walk counts as it was when the trees were drawn: changes made after seeing the second say
nothing about measuring. Stems measured at another height or in another unit are listed apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from callout.core.errors import OperatorError
from callout.core.model import PlotSettings, Reading
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry, current
from callout.reports.quality.draw import DRAWN, REMEASURES


@dataclass(frozen=True)
class Pair:
    """One stem measured twice, both in ``unit``."""

    first: Reading
    second: Reading

    @property
    def unit(self) -> str:
        """The unit of both."""
        return self.first.unit.value

    @property
    def difference(self) -> Decimal:
        """Second less first."""
        assert self.first.value is not None and self.second.value is not None
        return self.second.value - self.first.value

    @property
    def size(self) -> Decimal:
        """The mean of both."""
        assert self.first.value is not None and self.second.value is not None
        return (self.first.value + self.second.value) / 2

    @property
    def name(self) -> str:
        """Plot, tag and stem."""
        stem = f" stem {self.first.stem}" if self.first.stem else ""
        return f"{self.first.plot} {self.first.tag_now}{stem}"


@dataclass
class Paired:
    """Everything that the two walks say of the drawn trees.

    ``unlike`` says why a stem gives no pair: another height, a status, a stem of one walk only.
    ``left`` are trees that the second walk has not reached yet. ``corrected`` counts readings of
    the second walk that replaced an earlier one of its own.
    """

    number: int
    share: str
    drawn: int
    pairs: list[Pair] = field(default_factory=list)
    unlike: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    corrected: int = 0


def paired(first: SurveyFolder, second: SurveyFolder) -> Paired:
    """The pairs of a survey and the one that was walked again.

    Raises OperatorError unless ``second`` was drawn from ``first``.
    """
    with second.reading() as reader:
        origin, again = reader.latest(REMEASURES), current(reader.readings())
    if origin is None:
        raise OperatorError(f"{second.path} was not drawn: make it with 'callout remeasure'")
    with first.reading() as reader:
        drawn = next((item for item in reader.entries() if _is_draw(item, origin)), None)
        if drawn is None:
            raise OperatorError(f"{second.path} was not drawn from {first.path}")
        before = current([item for item in reader.readings() if item.entry < drawn.seq])
        settings = {name: plot.settings for name, plot in reader.plots().items()}
    body = origin.content
    found = Paired(int(body["number"]), str(body["share"]), len(body["trees"]))
    found.corrected = sum(item.supersedes is not None for item in again)
    for plot, tag in body["trees"]:
        here = {item.stem: item for item in before if (item.plot, item.tag_now) == (plot, tag)}
        there = {item.stem: item for item in again if (item.plot, item.tag) == (plot, tag)}
        if not there:
            found.left.append(f"{plot} {tag}")
        for stem in sorted(here.keys() | there.keys()) if there else ():
            _sort(found, here.get(stem), there.get(stem), settings[plot])
    return found


def _is_draw(entry: Entry, origin: Entry) -> bool:
    if entry.kind != DRAWN:
        return False
    told = {name: entry.content.get(name) for name in ("number", "share", "trees")}
    return all(origin.content.get(name) == value for name, value in told.items())


def _sort(
    found: Paired, first: Reading | None, second: Reading | None, settings: PlotSettings
) -> None:
    """Sort a stem into the pairs, or into ``unlike`` with its reason."""
    either = first or second
    assert either is not None
    pair = Pair(first or either, second or either)
    if first is None or second is None:
        walk = "second" if first is None else "first"
        found.unlike.append(f"{pair.name}: found by the {walk} walk only")
    elif first.value is None or second.value is None:
        found.unlike.append(f"{pair.name}: {_told(first)}, then {_told(second)}")
    elif first.unit is not second.unit:
        found.unlike.append(f"{pair.name}: in {first.unit.value}, then in {second.unit.value}")
    elif _height(first, settings) != _height(second, settings):
        heights = f"{_height(first, settings)} m, then at {_height(second, settings)} m"
        found.unlike.append(f"{pair.name}: measured at {heights}")
    else:
        found.pairs.append(pair)


def _told(reading: Reading) -> str:
    return reading.status_told if reading.value is None else "measured"


def _height(reading: Reading, settings: PlotSettings) -> Decimal:
    return reading.height_m or settings.breast_height_m


def by_unit(pairs: Iterable[Pair]) -> dict[str, list[Pair]]:
    """Pairs by their unit: an inch plot's figures stay in inches."""
    found: dict[str, list[Pair]] = {}
    for pair in pairs:
        found.setdefault(pair.unit, []).append(pair)
    return found
