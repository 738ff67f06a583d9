"""The uncertainty of the mass of each plot and census, part by part.

Errors of single readings and trees are independent: their variances add. What the trees of a group
share, the departure of their equation, is kept apart to be drawn. Linear in the rows; no draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.core.errors import OperatorError
from callout.reports.stand.census import codes_of
from callout.reports.stand.formulas import Floats
from callout.reports.stand.mass.reading_errors import PUBLISHED, ErrorModel
from callout.reports.stand.taper import SPAN_M

MEASURING = ("reading", "large", "rounding", "crew", "taper")
PARTS = (*MEASURING, "tree", "equation")


@dataclass(frozen=True)
class Draws:
    """How intervals are drawn.

    ``stream`` numbers the random stream. ``graduation_cm`` is that of readings where the frame has
    no ``step_cm``. ``equation_gives`` says whether an equation's curve is the mean mass of trees of
    that size or the median. ``equation_share`` is the part of its residual variance that trees of
    a group share: the residual of the default set comes from points made of published equations,
    so most of it is spread between equations; half is an assumption, since trees of several species
    on a plot share less. ``taper_sd`` is the error of the taper, in the same per cent.
    """

    draws: int = 2000
    stream: int = 1
    level: float = 0.95
    error: ErrorModel = PUBLISHED
    graduation_cm: float = 0.1
    equation_gives: Literal["mean", "median"] = "mean"
    equation_share: float = 0.5
    taper_sd: float = 0.5

    def __post_init__(self) -> None:
        """Raises OperatorError for settings that draw nothing."""
        if self.draws < 100:
            raise OperatorError(f"{self.draws} draws are too few for an interval: give 100 or more")
        if not 0 < self.level < 1:
            raise OperatorError(f"level {self.level} is no share: give 0.95 or the like")
        if self.graduation_cm < 0:
            raise OperatorError(f"graduation {self.graduation_cm} cm is below zero")
        if not 0 <= self.equation_share <= 1:
            raise OperatorError(f"equation share {self.equation_share}: give 0 to 1")


@dataclass(frozen=True)
class Sums:
    """Sums of each plot and census (``groups``, in order), kg and kg2, for intervals.

    ``of_group`` (groups, species groups) holds masses; ``shared_ln`` the deviation that trees of a
    species group share. ``variance`` holds the variance of each part but the equation; ``change``
    that of the change since the plot's previous census, without the equation, and
    ``change_measuring`` that without single trees' departures too. ``crew`` (kg a cm) is the effect
    of an offset of one centimetre; ``follows`` says whether a census has a previous one.
    """

    groups: pd.DataFrame
    of_group: Floats
    shared_ln: Floats
    variance: dict[str, Floats]
    change: Floats
    change_measuring: Floats
    crew: Floats
    follows: NDArray[np.bool_] = field(repr=False)

    @property
    def mass(self) -> Floats:
        """Expected mass of each plot and census."""
        return np.asarray(self.of_group.sum(axis=1))

    @property
    def measuring(self) -> Floats:
        """Variance of each mass due to measuring alone."""
        return np.asarray(np.sum([self.variance[name] for name in MEASURING], axis=0))


def mass_sums(trees: pd.DataFrame, settings: Draws) -> Sums:
    """The sums of ``trees`` (from ``biomass.stem_biomass``) by plot and census."""
    place = pd.DataFrame({"plot": trees["plot"], "census": trees["census"]})
    code = codes_of(place, ["plot", "census"])
    _, first, code = np.unique(code, return_index=True, return_inverse=True)
    groups = place.iloc[first].reset_index(drop=True)
    order = np.lexsort((groups["census"], pd.factorize(groups["plot"], sort=True)[0]))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    groups, code = groups.iloc[order].reset_index(drop=True), rank[code]
    live = trees["mass_kg"].notna().to_numpy()
    rows, code = trees[live], code[live]
    parts = _parts(rows, settings)
    size = len(groups)
    kinds, names = pd.factorize(rows["group"] if "group" in rows.columns else rows["b0"])
    count = max(1, len(names))
    of_group = _summed(code * count + kinds, parts["mass"], size * count).reshape(size, count)
    shared = np.zeros(count)
    shared[kinds] = np.sqrt(settings.equation_share) * rows["residual_ln"].to_numpy(np.float64)
    variance = {
        name: _summed(code, parts[name], size) for name in ("reading", "large", "rounding", "tree")
    }
    slope = _by_crew(rows, code, parts["slope"], size)
    variance["crew"] = settings.error.crew_cm**2 * slope
    taper = settings.taper_sd * _summed(code, parts["taper"], size)
    variance["taper"] = taper**2
    follows = np.r_[False, groups["plot"].to_numpy()[1:] == groups["plot"].to_numpy()[:-1]][:size]
    measured = _both(variance, ("reading", "large", "rounding", "crew"))
    measured = np.where(follows, measured + np.diff(taper, prepend=0.0) ** 2, np.nan)
    change = measured + _of_trees(rows, code, parts, variance["tree"], follows)
    return Sums(groups, of_group, shared, variance, change, measured, np.sqrt(slope), follows)


def _summed(code: NDArray[np.int64], amount: Floats, size: int) -> Floats:
    return np.asarray(np.bincount(code, amount, size), dtype=np.float64)


def _parts(rows: pd.DataFrame, settings: Draws) -> dict[str, Floats]:
    """Each row's mass, kg, the variance of each part, and its slopes."""
    size = rows["basis_cm"].to_numpy(dtype=np.float64)
    b1, ln = (rows[name].to_numpy(dtype=np.float64) for name in ("b1", "residual_ln"))
    mass = rows["mass_kg"].to_numpy(dtype=np.float64)
    if settings.equation_gives == "median":
        mass = mass * np.exp(ln**2 / 2)
    slope = mass * b1 / size
    small, large = settings.error.variances(size)
    step = settings.graduation_cm
    if "step_cm" in rows.columns:
        step = rows["step_cm"].to_numpy(dtype=np.float64)
    of_tree = np.expm1((1 - settings.equation_share) * ln**2)
    moved = np.zeros(len(size))
    if "moved_m" in rows.columns:
        moved = rows["moved_m"].to_numpy(dtype=np.float64)
    return {
        "mass": mass,
        "slope": slope,
        "reading": slope**2 * small,
        "large": slope**2 * large,
        "rounding": slope**2 * step**2 / 12,
        "of_tree": of_tree,
        "tree": mass**2 * of_tree,
        "taper": slope * size * moved / SPAN_M / 100,
    }


def _by_crew(rows: pd.DataFrame, code: NDArray[np.int64], slope: Floats, size: int) -> Floats:
    """The sum over crews of their squared slopes, kg2 a cm2; rows naming nobody form one crew."""
    if "who" not in rows.columns:
        return np.asarray(np.bincount(code, slope, size) ** 2)
    crew, names = pd.factorize(rows["who"])
    both, at = np.unique(code * (len(names) + 1) + crew + 1, return_inverse=True)
    squares = np.bincount(at, slope, len(both)) ** 2
    return np.asarray(np.bincount(both // (len(names) + 1), squares, size))


def _both(variance: dict[str, Floats], names: Sequence[str]) -> Floats:
    """Variance of each census and the previous one together, of ``names``."""
    once = np.sum([variance[name] for name in names], axis=0)
    return np.asarray(once + np.r_[0.0, once[:-1]])


def _of_trees(
    rows: pd.DataFrame,
    code: NDArray[np.int64],
    parts: dict[str, Floats],
    variance: Floats,
    follows: NDArray[np.bool_],
) -> Floats:
    """Variance of the change due to single trees: a heavy tree is heavy in both censuses."""
    stem = rows["stem_code"].to_numpy()
    order = np.lexsort((code, stem))
    stem, at = stem[order], code[order]
    both = np.flatnonzero((stem[1:] == stem[:-1]) & (at[1:] == at[:-1] + 1)) + 1
    mass, of_tree = parts["mass"][order], parts["of_tree"][order]
    shared = np.bincount(at[both], mass[both] * mass[both - 1] * of_tree[both], len(follows))
    return np.maximum(_both({"tree": variance}, ("tree",)) - 2 * shared, 0)


def with_error(settings: Draws, error: ErrorModel) -> Draws:
    """The settings with the survey's own errors; the crews' offset stays as it was set."""
    return replace(settings, error=replace(error, crew_cm=settings.error.crew_cm))
