"""Checks of a reading, each a pure function with named limits; this is the way in to all of them.

A check may flag a reading; none ever changes one. The functions stand in ``checks_size``,
``checks_slips`` and ``checks_plot``; here is what the session asks for, and the table of names.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from callout.core.checks_limits import (
    DAYS_A_YEAR,
    DEFAULT_LIMITS,
    Limits,
    Rules,
    measurement_sd_mm,
    years_between,
)
from callout.core.checks_plot import (
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
from callout.core.checks_size import (
    Compared,
    change_since,
    implausible_jump,
    not_a_growth,
    shown,
)
from callout.core.checks_slips import likeliest_slip
from callout.core.model import Tree, Warned
from callout.core.units import Unit

__all__ = [
    "DAYS_A_YEAR", "DEFAULT_LIMITS", "TABLE", "Compared", "Limits", "Named", "Rules",
    "against_history", "beyond_species", "change_since", "dead_then_alive", "heard_unsurely",
    "height_moved",
    "last_height_m", "last_status", "measured_before", "measurement_sd_mm", "old_tag",
    "other_standard",
    "shown", "species_not_in_plot", "standard_changed", "unknown_tag", "years_between",
]  # fmt: skip


def against_history(
    value: Decimal,
    unit: Unit,
    on: date,
    tree: Tree,
    limits: Limits = DEFAULT_LIMITS,
    just_before: Decimal | None = None,
    paint_line: bool | None = None,
) -> tuple[Warned, ...]:
    """What the tree's last measurement makes of ``value``: at most one warning, the likeliest.

    ``just_before`` is the value saved for the tree before, in ``unit``; ``paint_line`` whether the
    height is painted on the trees, for what to look at.
    """
    if tree.last is None:
        return ()
    of = Compared(value, unit, on, tree.last, limits, just_before, tree.past[0], paint_line)
    small, jump = not_a_growth(of), implausible_jump(of)
    if of.is_usual(value) and jump is None:
        return ()
    # A little down is the tape; a digit or a wrong side makes more of a difference.
    a_little = max(limits.reject_sd * of.sd_mm, limits.tape_share * of.before_mm)
    slightly = small is not None and -of.growth_mm() < a_little
    found = small if slightly else likeliest_slip(of) or small or jump
    return (found,) if found is not None else ()


@dataclass(frozen=True)
class Named:
    """A check as people know it: its name, what it suspects, its limits, where they are from."""

    name: str
    suspects: str
    limits: tuple[str, ...]
    source: str


_CENSUS = "census rule of R. Condit and co-workers, from public code"
_PRACTICE = "common practice"
_OURS = "assumption, settable"
_USUAL = ("usual_growth_mm_a_year", "own_growth_factor", "own_growth_more_mm_a_year")
_RATIO = (*_USUAL, "ratio_tolerance")

TABLE = (
    Named("not a growth", "smaller than last time", ("shrink_sd", "reject_sd", "tape_share"),
          _CENSUS),
    Named("implausible jump", "larger than trees grow", ("growth_mm_a_year",), _CENSUS),
    Named("wrong side", "girth read for diameter, a ratio near pi", _RATIO, _PRACTICE),
    Named("wrong unit", "inches for centimetres, a ratio near 2.54", _RATIO,
          "an inch is 2.54 cm, 1959 agreement"),
    Named("slipped decimal", "the point one place off", _RATIO, _PRACTICE),
    Named("tree before", "the value of the tree before again", _USUAL, _OURS),
    Named("sounds alike", "sixteen for sixty", _USUAL, _OURS),
    Named("swapped digits", "two digits changed places", _USUAL, _OURS),
    Named("neighbouring digit", "a digit one off", _USUAL, _OURS),
    Named("dead last time", "a dead, down or cut tree is live again", (), _PRACTICE),
    Named("species not in plot", "a species nobody found here before", (), _OURS),
    Named("beyond species", "too large for the species", ("species_share",),
          "FHWA-RD-97-028 table 2 for sizes; the share is an assumption"),
    Named("height of measurement", "measured elsewhere than last time", ("height_share",), _CENSUS),
    Named("breast height", "another breast-height standard than last time", (), _PRACTICE),
    Named("unknown tag", "the plot has no such tree", (), _PRACTICE),
    Named("tag in use", "a new tree with an old tag", (), _PRACTICE),
    Named("heard unsurely", "the engine was unsure, and yet much likelier right than not", (),
          "ours, see hearing.md"),
    Named("old tag", "called by the tag that it lost", (), _PRACTICE),
    Named("measured today", "this tree was measured today already", (), _PRACTICE),
    Named("measured this visit", "this tree was measured earlier this visit", (), _PRACTICE),
    Named("other unit", "a unit was said that is not the plot's", (), _PRACTICE),
    Named("out of range", "outside the plot's smallest and largest", (), "set for each plot"),
)  # fmt: skip
