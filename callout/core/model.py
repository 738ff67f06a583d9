"""Trees, plots and readings as the survey knows them: values without behaviour.

Readings are exact decimals in the unit of their plot. Nothing here decides anything; the checks
and the session do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property

from callout.core.checking.checks_growth import PlotGrowth, growth_of
from callout.core.rounding import Rounding
from callout.core.saying import Saying
from callout.core.statuses import Status, in_words
from callout.core.units import Scale, Unit


@dataclass(frozen=True)
class PlotSettings:
    """How one plot is measured.

    Sizes in ``unit``; ``breast_height_m`` in metres. None in ``area_ha`` or ``paint_line`` means
    not known; ``established`` is a year or a day; a control is a ``treatment`` too.
    ``decimal_comma``: a typed 11,2 is 11.2. ``paint_line``: whether the height is painted on.
    """

    plot: str
    unit: Unit = Unit.CENTIMETRE
    graduation: Decimal = Decimal("0.1")
    rounding: Rounding = Rounding.NEAREST
    scale: Scale = Scale.DIAMETER
    breast_height_m: Decimal = Decimal("1.30")
    smallest: Decimal = Decimal("1.0")
    largest: Decimal = Decimal(200)
    implied_point: bool = True
    decimal_comma: bool = False
    area_ha: Decimal | None = None
    treatment: str = ""
    site: str = ""
    shape: str = ""
    established: str = ""
    paint_line: bool | None = None


@dataclass(frozen=True)
class PastMeasurement:
    """A diameter measured on an earlier visit, as recorded then."""

    on: date
    value: Decimal
    unit: Unit


@dataclass(frozen=True)
class Tree:
    """A tagged tree of the roster; ``past`` is sorted by date, ``extra`` holds unknown columns."""

    plot: str
    tag: str
    species: str = ""
    past: tuple[PastMeasurement, ...] = ()
    extra: Mapping[str, str] = field(default_factory=dict)

    @property
    def last(self) -> PastMeasurement | None:
        """The latest earlier measurement, if there is one."""
        return self.past[-1] if self.past else None


@dataclass(frozen=True)
class Plot:
    """A plot as the session needs it: how it is measured and which trees stand in it."""

    settings: PlotSettings
    trees: Mapping[str, Tree]

    def __getstate__(self) -> dict[str, object]:
        """What it is, and of what was reckoned only what is asked of plots not at work."""
        told = {"species_told": self.species_told, "newest": self.newest}
        return {"settings": self.settings, "trees": self.trees, **told}

    @cached_property
    def growth(self) -> PlotGrowth:
        """The plot's earlier growth, computed once."""
        return growth_of(self.trees.values(), self.settings)

    @cached_property
    def species(self) -> frozenset[str]:
        """The species that the roster names, in lower case."""
        return frozenset(name.casefold() for name in self.species_told)

    @cached_property
    def species_told(self) -> frozenset[str]:
        """The species as the roster names them."""
        return frozenset(tree.species for tree in self.trees.values() if tree.species)

    @cached_property
    def newest(self) -> date | None:
        """The day of the newest earlier measurement."""
        lasts = (tree.last for tree in self.trees.values())
        return max((last.on for last in lasts if last is not None), default=None)

    @cached_property
    def walk(self) -> tuple[Tree, ...]:
        """The trees that were measured before, in walking order."""
        return tuple(tree for tree in self.trees.values() if tree.past)

    @cached_property
    def place_in_walk(self) -> Mapping[str, int]:
        """The position of each tag in ``walk``."""
        return {tree.tag: at for at, tree in enumerate(self.walk)}

    @cached_property
    def order(self) -> tuple[str, ...]:
        """The tags in roster order, which is the order of the walk."""
        return tuple(self.trees)

    @cached_property
    def places(self) -> Mapping[str, int]:
        """The position of each tag in ``order``."""
        return {tag: place for place, tag in enumerate(self.order)}


@dataclass(frozen=True)
class Warned:
    """A check that fired: its name, what it suspects, what to look at on the tree."""

    check: str
    says: Saying
    look: Saying | None = None


@dataclass(frozen=True)
class Reading:
    """A reading as saved: ``raw`` as heard, in ``raw_unit``; ``value`` as recorded, in ``unit``.

    ``raw_scale`` is the side of the tape that ``raw`` was read on ('' if not known). ``entry`` is
    the number of the journal entry that confirmed it; ``supersedes`` the entry of an earlier
    reading that it replaces. ``status`` is set for a tree that was not measured. ``void`` marks an
    undo, which leaves no reading in place of the one it supersedes. ``tag`` is the roster's, which
    identifies the tree; ``tag_lost`` says that it is no longer on the tree, ``new_tag`` what hangs
    there now ('' for nothing).
    """

    entry: int
    at: str
    plot: str
    tag: str
    species: str = ""
    raw: Decimal | None = None
    raw_unit: Unit | None = None
    value: Decimal | None = None
    unit: Unit = Unit.CENTIMETRE
    status: str = str(Status.LIVE)
    stem: str = ""
    words: str = ""
    source: str = ""
    engine: str = ""
    confidence: Decimal | None = None
    audio: str | None = None
    who: str = ""
    warnings: tuple[str, ...] = ()
    height_m: Decimal | None = None
    is_new: bool = False
    supersedes: int | None = None
    void: bool = False
    tag_lost: bool = False
    new_tag: str = ""
    raw_scale: str = ""

    @property
    def status_told(self) -> str:
        """The status in words."""
        return in_words(self.status)

    @property
    def told(self) -> str:
        """The reading in words: the size with its unit, or the status of a tree not measured."""
        return self.status_told if self.value is None else f"{self.value} {self.unit.value}"

    @property
    def tag_note(self) -> str:
        """The change of the tag: '' for none, ``lost``, or ``was 40``."""
        if not self.tag_lost:
            return ""
        return f"was {self.tag}" if self.new_tag else "lost"

    @property
    def tag_now(self) -> str:
        """What the tree is called from now on."""
        return self.new_tag or self.tag
