"""The limits at which checks fire, the measurement-error model, and the rules of a plot.

Every limit may be set by the survey. No checks here, only what they share.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from callout.core.heights import HIGHEST_M, LOWEST_M

DAYS_A_YEAR = Decimal("365.25")
_SD_SHARE, _SD_MM = Decimal("0.006214"), Decimal("0.9036")

EDITION = 4
"""The edition of the dialogue's rules in use now; docs/session.md lists what each one changed."""


@dataclass(frozen=True)
class Limits:
    """When checks fire. ``*_sd`` count standard deviations.

    ``shrink_sd`` and ``reject_sd`` are of one measurement: a loss beyond the first is questioned,
    beyond the second it is more than a tape can err. ``slow_sd`` and ``fast_sd`` are of the size
    expected from earlier growth. In a plot without earlier growth, growth up to
    ``usual_growth_mm_a_year`` counts as normal; growth beyond ``growth_mm_a_year`` is always
    questioned. ``growth_varies`` is the share by which a tree's growth differs from visit to visit.
    A slip is reported if the size without it lies within ``fits_sd`` of the expected size and is
    ``slip_times`` as likely as the size called. A repeated figure is reported if its chance is
    below ``repeat_chance``. A loss up to ``tape_share`` is put down to tape, bark or height, not to
    a slip. A height of measurement below ``lowest_m`` or above ``highest_m`` is refused.

    ``reject_sd``, ``growth_mm_a_year`` and ``height_share`` are those of the census rule (R. Condit
    and co-workers; from public code). The others are ours, chosen by simulation (docs/checks.md);
    ``species_share`` (times the size of a mature large tree of the species) is an assumption.
    """

    shrink_sd: Decimal = Decimal("3.6")
    reject_sd: Decimal = Decimal(4)
    slow_sd: Decimal = Decimal("2.7")
    fast_sd: Decimal = Decimal(3)
    growth_mm_a_year: Decimal = Decimal(75)
    usual_growth_mm_a_year: Decimal = Decimal(12)
    growth_varies: Decimal = Decimal("0.25")
    slip_times: Decimal = Decimal(16)
    fits_sd: Decimal = Decimal("2.5")
    repeat_chance: Decimal = Decimal("0.01")
    tape_share: Decimal = Decimal("0.1")
    height_share: Decimal = Decimal("0.05")
    species_share: Decimal = Decimal("1.5")
    lowest_m: Decimal = LOWEST_M
    highest_m: Decimal = HIGHEST_M


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True)
class FirstLimits:
    """The limits from before growth was learnt from the plot; see ``checks_first``."""

    shrink_sd: Decimal = Decimal(2)
    reject_sd: Decimal = Decimal(4)
    growth_mm_a_year: Decimal = Decimal(75)
    usual_growth_mm_a_year: Decimal = Decimal(12)
    own_growth_factor: Decimal = Decimal(2)
    own_growth_more_mm_a_year: Decimal = Decimal(3)
    tape_share: Decimal = Decimal("0.1")
    ratio_tolerance: Decimal = Decimal("0.06")


@dataclass(frozen=True)
class Rules:
    """How a plot is checked, walked and spoken with.

    ``blind``: history is not shown, spoken or used before a reading is saved. ``walk``: the next
    tree of the list is offered after a save. ``accept_word``: a reading with a warning needs its
    own word; a plain yes does not save it. ``largest_cm``: by species name in lower case, the
    diameter of a mature large tree. ``first``: set for entries from before growth was learnt from
    the plot, which are replayed with the checks of their time. ``join_s``: how many seconds may lie
    between a tree's name and the press of a tape. ``edition``: the edition of the dialogue's rules
    by which entries are taken, so that a journal from before a rule was changed still gives what
    was saved then.
    """

    limits: Limits = DEFAULT_LIMITS
    blind: bool = False
    walk: bool = True
    accept_word: bool = True
    largest_cm: Mapping[str, Decimal] = field(default_factory=dict)
    first: FirstLimits | None = None
    join_s: Decimal = Decimal(30)
    edition: int = EDITION


def measurement_sd_mm(diameter_mm: Decimal) -> Decimal:
    """Standard deviation of one diameter measurement, mm, for a diameter in mm.

    0.006214 d + 0.9036: the rule used for forest censuses (R. Condit and co-workers; transcribed
    from public code).
    """
    return _SD_SHARE * diameter_mm + _SD_MM


def years_between(earlier: date, later: date) -> Decimal:
    """Years of 365.25 days; at least one day, so that rates stay finite."""
    return Decimal(max(1, (later - earlier).days)) / DAYS_A_YEAR
