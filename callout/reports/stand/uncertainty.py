"""Intervals by Monte Carlo: what measuring, rounding and the equations leave unsure.

Each draw moves every diameter by measurement error and by what rounding hid, and every stem by the
residual of its equation (the same at each census: a heavy tree stays heavy). The same frame and
stream give the same interval. Not in it: which plots were chosen, wrong equations, wrong species.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.core.errors import OperatorError
from callout.reports.stand.biomass import CO2_PER_CARBON
from callout.reports.stand.census import codes_of
from callout.reports.stand.formulas import Floats
from callout.reports.stand.summary import area_of

FEWEST_PAIRS = 10
_CELLS = 4_000_000  # numbers held at once, 32 MB


@dataclass(frozen=True)
class ErrorModel:
    """Standard deviation of one diameter, cm: ``constant_cm + share * d``, and where it is from."""

    constant_cm: float
    share: float
    source: str

    def sd_cm(self, diameter_cm: Floats) -> Floats:
        """Standard deviation of each diameter, cm."""
        return self.constant_cm + self.share * diameter_cm


# 0.006214 d + 0.9036 mm, d in mm: rule used for forest censuses, R. Condit and co-workers.
PUBLISHED = ErrorModel(
    0.09036, 0.006214, "rule used for forest censuses (R. Condit and co-workers; public code)"
)


def from_repeats(pairs: pd.DataFrame) -> ErrorModel:
    """The error of this survey's own measuring, from pairs (``census.measured_again``).

    Standard deviation sqrt(sum d^2 / 2n) of duplicates (common practice in quality control),
    the same for all sizes. With fewer than ten pairs, the published model.
    """
    difference = pairs["difference_cm"].to_numpy(dtype=np.float64)
    if len(difference) < FEWEST_PAIRS:
        return PUBLISHED
    deviation = float(np.sqrt(np.sum(difference**2) / (2 * len(difference))))
    return ErrorModel(deviation, 0.0, f"{len(difference)} stems measured again in this survey")


@dataclass(frozen=True)
class Draws:
    """How intervals are drawn.

    ``stream`` numbers the random stream. ``rounding`` says how readings were brought to
    ``graduation_cm``: hidden by nearest is half a graduation either way, by down up to a whole
    one; columns ``graduation_cm`` and ``rounding`` of the frame go before. ``equation_gives`` says
    whether an equation's curve is the mean mass of trees of that size (residuals then have mean
    one) or the median.
    """

    draws: int = 2000
    stream: int = 1
    level: float = 0.95
    error: ErrorModel = PUBLISHED
    graduation_cm: float = 0.1
    rounding: Literal["nearest", "down"] = "nearest"
    equation_gives: Literal["mean", "median"] = "mean"

    def __post_init__(self) -> None:
        """Raises OperatorError for settings that draw nothing."""
        if self.draws < 100:
            raise OperatorError(f"{self.draws} draws are too few for an interval: give 100 or more")
        if not 0 < self.level < 1:
            raise OperatorError(f"level {self.level} is no share: give 0.95 or the like")
        if self.graduation_cm < 0:
            raise OperatorError(f"graduation {self.graduation_cm} cm is below zero")


def mass_draws(trees: pd.DataFrame, settings: Draws) -> tuple[pd.DataFrame, Floats]:
    """Drawn dry mass of each plot and census of ``trees`` (from ``biomass.stem_biomass``).

    Returns the groups (``plot``, ``census``, in order) and an array (draws, groups), kg.
    """
    live = trees[trees["mass_kg"].notna()].sort_values(["plot", "census"], kind="stable")
    if live.empty:
        return live[["plot", "census"]].reset_index(drop=True), np.zeros((settings.draws, 0))
    code = codes_of(live, ["plot", "census"])
    first = np.flatnonzero(np.r_[True, code[1:] != code[:-1]])
    groups = live[["plot", "census"]].iloc[first].reset_index(drop=True)
    _, starts, stem = np.unique(live["stem_code"], return_index=True, return_inverse=True)
    residual = live["residual_ln"].to_numpy(dtype=np.float64)[starts]
    rng = np.random.default_rng(settings.stream)
    sums = np.empty((settings.draws, len(groups)))
    step = max(1, _CELLS // len(live))
    for start in range(0, settings.draws, step):
        count = min(step, settings.draws - start)
        mass = _one_batch(live, stem, residual, count, settings, rng)
        sums[start : start + count] = np.add.reduceat(mass, first, axis=1)
    return groups, sums


def _one_batch(
    live: pd.DataFrame,
    stem: NDArray[np.intp],
    residual: Floats,
    count: int,
    settings: Draws,
    rng: np.random.Generator,
) -> Floats:
    """Drawn masses, shape (count, rows of ``live``)."""
    step: float | Floats
    size = live["basis_cm"].to_numpy(dtype=np.float64)
    step = settings.graduation_cm
    if "graduation_cm" in live.columns:
        step = live["graduation_cm"].to_numpy(dtype=np.float64)
    hidden = rng.random((count, len(size))) * step
    if "rounding" in live.columns:
        nearest = (live["rounding"] == "nearest").to_numpy(dtype=bool)
    else:
        nearest = np.full(len(size), settings.rounding == "nearest")
    hidden -= np.where(nearest, step / 2, 0.0)
    drawn = size + hidden + rng.standard_normal((count, len(size))) * settings.error.sd_cm(size)
    drawn = np.maximum(drawn, size * 0.1)  # a large error on a sapling must not turn it inside out
    middle = -0.5 * residual**2 if settings.equation_gives == "mean" else 0.0
    tree = middle + residual * rng.standard_normal((count, len(residual)))
    b0, b1 = live["b0"].to_numpy(dtype=np.float64), live["b1"].to_numpy(dtype=np.float64)
    return np.asarray(np.exp(b0 + b1 * np.log(drawn) + tree[:, stem]), dtype=np.float64)


def carbon_intervals(
    trees: pd.DataFrame, plots: pd.DataFrame, fraction: float, settings: Draws
) -> pd.DataFrame:
    """Carbon and CO2 of each plot and census, t a hectare, with their intervals.

    ``carbon_kg`` (the equations' figure), ``low_kg``, ``high_kg``; ``carbon_t_ha``, ``low_t_ha``,
    ``high_t_ha``; ``co2_t_ha``; from the census before: ``change_kg`` with ``change_low_kg`` and
    ``change_high_kg`` (drawn together, so that shared errors cancel as they should).
    """
    groups, draws = mass_draws(trees, settings)
    carbon = draws * fraction
    sums = trees.groupby(["plot", "census"], observed=True)["carbon_kg"].sum().reset_index()
    table = groups.merge(sums, on=["plot", "census"])
    table["low_kg"], table["high_kg"] = interval(carbon, settings.level)
    area = area_of(table["plot"], plots)
    for name in ("carbon", "low", "high"):
        table[f"{name}_t_ha"] = table[f"{name}_kg"] / 1000 / area
    table["co2_t_ha"] = table["carbon_t_ha"] * CO2_PER_CARBON
    same = (table["plot"] == table["plot"].shift()).to_numpy(dtype=bool)
    table["change_kg"] = table["carbon_kg"].diff().where(same)
    low, high = interval(np.diff(carbon, axis=1, prepend=np.nan), settings.level)
    table["change_low_kg"] = np.where(same, low, np.nan)
    table["change_high_kg"] = np.where(same, high, np.nan)
    return table


def interval(draws: Floats, level: float) -> tuple[Floats, Floats]:
    """The middle ``level`` share of draws: lower and upper quantile of each column."""
    tail = (1 - level) / 2
    low, high = np.quantile(draws, [tail, 1 - tail], axis=0) if draws.size else ([], [])
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
