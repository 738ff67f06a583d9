"""Entry point to the checks of a reading: pure functions with named limits.

A check may flag a reading; none ever changes one. The checks live in ``checks_size``,
``checks_slips`` and ``checks_plot``; here are the calls of the session and the table of names.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from callout.core.checking.checks_first import against_history_first
from callout.core.checking.checks_growth import expected
from callout.core.checking.checks_limits import (
    DAYS_A_YEAR,
    DEFAULT_LIMITS,
    FirstLimits,
    Limits,
    Rules,
    measurement_sd_mm,
    years_between,
)
from callout.core.checking.checks_plot import (
    beyond_species,
    dead_then_alive,
    heard_unsurely,
    height_moved,
    last_height_m,
    last_status,
    measured_before,
    old_tag,
    other_standard,
    species_not_in_plot,
    standard_changed,
    unknown_tag,
)
from callout.core.checking.checks_size import Compared, change_since, odd, shown, shrunk
from callout.core.checking.checks_slips import likeliest_slip
from callout.core.model import Plot, Tree, Warned

__all__ = [
    "DAYS_A_YEAR",
    "DEFAULT_LIMITS",
    "TABLE",
    "Compared",
    "FirstLimits",
    "Limits",
    "Named",
    "Rules",
    "against_history",
    "against_history_first",
    "beyond_species",
    "change_since",
    "dead_then_alive",
    "heard_unsurely",
    "height_moved",
    "last_height_m",
    "last_status",
    "measured_before",
    "measurement_sd_mm",
    "old_tag",
    "other_standard",
    "shown",
    "species_not_in_plot",
    "standard_changed",
    "unknown_tag",
    "years_between",
]


def against_history(
    plot: Plot,
    tree: Tree,
    value: Decimal,
    called: Decimal,
    on: date,
    limits: Limits = DEFAULT_LIMITS,
    just_before: Decimal | None = None,
    alive: bool = True,
) -> tuple[Warned, ...]:
    """Check a diameter against earlier visits: at most one warning, the likeliest.

    ``value`` is the diameter to record, in the plot's unit; ``called`` the figure that was called;
    ``just_before`` the value saved for the tree before. A tree that is not ``alive`` need not grow.
    """
    of = compared(plot, tree, value, called, on, limits, just_before, alive)
    if of is None:
        return ()
    # A small loss is due to the tape or to a mixed-up tag; a slipped digit changes the size more.
    a_little = of.growth_mm() > -limits.tape_share * of.before_mm
    by_tape = a_little and shrunk(of) is not None
    found = likeliest_slip(of, tags_alone=by_tape) or odd(of)
    return (found,) if found is not None else ()


def compared(
    plot: Plot,
    tree: Tree,
    value: Decimal,
    called: Decimal,
    on: date,
    limits: Limits = DEFAULT_LIMITS,
    just_before: Decimal | None = None,
    alive: bool = True,
) -> Compared | None:
    """The diameter beside what was expected; None for a tree without earlier measurements."""
    likely = expected(plot.growth, tree, on, limits, alive)
    if tree.last is None or likely is None:
        return None
    beside = {other.tag: expected(plot.growth, other, on, limits) for other in _beside(plot, tree)}
    return Compared(
        value,
        plot.settings.unit,
        on,
        tree.last,
        likely,
        limits,
        called,
        plot.settings.graduation,
        {tag: one for tag, one in beside.items() if one is not None},
        just_before,
        plot.settings.paint_line,
    )


def _beside(plot: Plot, tree: Tree) -> tuple[Tree, ...]:
    """The trees before and after in the walk, among those measured before."""
    at = plot.place_in_walk.get(tree.tag)
    if at is None:
        return ()
    return (*plot.walk[max(0, at - 1) : at], *plot.walk[at + 1 : at + 2])


@dataclass(frozen=True)
class Named:
    """A check as documented: its name, what it suspects, its limits and their source."""

    name: str
    suspects: str
    limits: tuple[str, ...]
    source: str


_CENSUS = "census rule of R. Condit and co-workers, from public code"
_PRACTICE = "common practice"
_OURS = "assumption, settable"
_MEASURED = "ours, by simulation: see below"
_SLIP = ("slip_times", "fits_sd")

TABLE = (
    Named(
        "shrunk",
        "smaller than last time",
        ("shrink_sd", "reject_sd", "slow_sd", "tape_share"),
        f"{_CENSUS} (error, reject_sd); the rest {_MEASURED}",
    ),
    Named(
        "too slow",
        "hardly grown where earlier growth promised more",
        ("slow_sd", "growth_varies"),
        _MEASURED,
    ),
    Named(
        "too fast",
        "grown more than earlier growth promised, or than any tree grows",
        ("fast_sd", "growth_varies", "usual_growth_mm_a_year", "growth_mm_a_year"),
        f"{_CENSUS} (growth_mm_a_year); the rest {_MEASURED}",
    ),
    Named(
        "wrong side",
        "girth read for diameter: it fits divided or multiplied by pi",
        _SLIP,
        _PRACTICE,
    ),
    Named(
        "wrong unit",
        "inches for centimetres: it fits by a factor of 2.54",
        _SLIP,
        "an inch is 2.54 cm, 1959 agreement",
    ),
    Named("slipped decimal", "the point one place off", _SLIP, _PRACTICE),
    Named("tree beside", "it fits the tree before or after in the walk better", _SLIP, _MEASURED),
    Named("tree before", "the figure of the tree before again", ("repeat_chance",), _MEASURED),
    Named("last time again", "the figure of last time again", ("repeat_chance",), _MEASURED),
    Named("sounds alike", "sixteen for sixty", _SLIP, _MEASURED),
    Named("swapped digits", "two digits changed places", _SLIP, _MEASURED),
    Named("neighbouring digit", "a digit one off", _SLIP, _MEASURED),
    Named("dead last time", "a dead, down or cut tree is live again", (), _PRACTICE),
    Named("species not in plot", "a species nobody found here before", (), _OURS),
    Named(
        "beyond species",
        "too large for the species",
        ("species_share",),
        "FHWA-RD-97-028 table 2 for sizes; the share is an assumption",
    ),
    Named(
        "height of measurement",
        "measured elsewhere than last time; out of reach is refused",
        ("height_share", "lowest_m", "highest_m"),
        f"{_CENSUS} (height_share); the reach is ours",
    ),
    Named("breast height", "another breast-height standard than last time", (), _PRACTICE),
    Named("unknown tag", "the plot has no such tree", (), _PRACTICE),
    Named("tag in use", "a new tree with an old tag", (), _PRACTICE),
    Named(
        "heard unsurely",
        "the engine was unsure, and yet much likelier right than not",
        (),
        "ours, see hearing.md",
    ),
    Named("old tag", "called by the tag that it lost", (), _PRACTICE),
    Named("measured today", "this tree was measured today already", (), _PRACTICE),
    Named("measured this visit", "this tree was measured earlier this visit", (), _PRACTICE),
    Named("other unit", "a unit was said that is not the plot's", (), _PRACTICE),
    Named("other side", "girth was said in a plot of diameters, or the other way", (), _PRACTICE),
    Named("stem beside tree", "a stem of a tree that has a size of its own", (), _PRACTICE),
    Named("out of range", "outside the plot's smallest and largest", (), "set for each plot"),
)
