"""The limits at which checks fire, the measurement-error model, and the rules of a plot.

Every limit may be set by the survey. No check here: only what all of them measure against.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

DAYS_A_YEAR = Decimal("365.25")


@dataclass(frozen=True)
class Limits:
    """When checks fire. ``*_sd`` count standard deviations of one measurement.

    ``reject_sd``, ``growth_mm_a_year`` and ``height_share`` are those of the census rule (R. Condit
    and co-workers; from public code). The others are assumptions of ours: ``shrink_sd``,
    ``usual_growth_mm_a_year`` (faster growth is looked at for slips, and flagged only where one
    explains it; for a tree measured twice before, ``own_growth_factor`` times its own rate and
    ``own_growth_more_mm_a_year`` stand in its place), ``tape_share`` (a loss up to that share is
    put down to tape, bark or height, not to a slip), ``ratio_tolerance``, and ``species_share``
    (times the size of a mature large tree of the species).
    """

    shrink_sd: Decimal = Decimal(2)
    reject_sd: Decimal = Decimal(4)
    growth_mm_a_year: Decimal = Decimal(75)
    usual_growth_mm_a_year: Decimal = Decimal(12)
    own_growth_factor: Decimal = Decimal(2)
    own_growth_more_mm_a_year: Decimal = Decimal(3)
    tape_share: Decimal = Decimal("0.1")
    ratio_tolerance: Decimal = Decimal("0.06")
    height_share: Decimal = Decimal("0.05")
    species_share: Decimal = Decimal("1.5")


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True)
class Rules:
    """How a plot is checked and walked.

    ``blind``: history is neither shown nor spoken nor used before a reading is saved. ``walk``:
    the next tree of the list is offered after a save. ``accept_word``: a reading with a warning
    takes a word of its own, a plain yes does not save it. ``largest_cm``: by species name in lower
    case, the diameter of a mature large tree.
    """

    limits: Limits = DEFAULT_LIMITS
    blind: bool = False
    walk: bool = True
    accept_word: bool = True
    largest_cm: Mapping[str, Decimal] = field(default_factory=dict)


def measurement_sd_mm(diameter_mm: Decimal) -> Decimal:
    """Standard deviation of one diameter measurement, mm, for a diameter in mm.

    0.006214 d + 0.9036: rule used for forest censuses (R. Condit and co-workers; transcribed from
    public code).
    """
    return Decimal("0.006214") * diameter_mm + Decimal("0.9036")


def years_between(earlier: date, later: date) -> Decimal:
    """Years of 365.25 days; at least one day, so that rates stay finite."""
    return Decimal(max(1, (later - earlier).days)) / DAYS_A_YEAR
