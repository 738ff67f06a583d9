"""Uncertainty of carbon from measuring, rounding, height and equations, part by part.

Errors of single readings and trees are many and independent, so their sum is described by its
variance (and drawn with the skewness of a lognormal); what trees share, the departure of their
group's equation, is drawn. The same frame and stream give the same interval. Work grows with the
rows plus draws times plots and censuses.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.reports.stand.formulas import Floats
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import CO2_PER_CARBON, biomass_summary
from callout.reports.stand.mass.mass_variance import PARTS, Draws, Sums, mass_sums
from callout.reports.stand.sampling import FEWEST_PLOTS

NO_EQUATION = "no live stem has an equation"
AREA_CHANGED = "the plot's area changed since the census before: no change is told"
FEW_PLOTS = f"fewer than {FEWEST_PLOTS} plots: no interval"
_CELLS = 4_000_000  # numbers in memory at once, 32 MB


def mass_draws(trees: pd.DataFrame, settings: Draws) -> tuple[pd.DataFrame, Floats]:
    """Drawn dry mass of each plot and census of ``trees``: groups, and (draws, groups), kg."""
    sums = mass_sums(trees, settings)
    return sums.groups, _stocks(sums, settings, np.arange(len(sums.groups)), *_streams(settings))


def _streams(settings: Draws) -> tuple[np.random.Generator, np.random.Generator]:
    """One stream for what groups share, one for the rest, so that batches change nothing."""
    shared, own = np.random.SeedSequence(settings.stream).spawn(2)
    return np.random.default_rng(shared), np.random.default_rng(own)


def _factors(sums: Sums, settings: Draws, shared: np.random.Generator) -> Floats:
    """(draws, species groups): the factor of each group's equation, with mean one."""
    ln = sums.shared_ln
    normal = shared.standard_normal((settings.draws, len(ln)))
    return np.asarray(np.exp(ln * normal - ln**2 / 2))


def _stocks(
    sums: Sums,
    settings: Draws,
    at: NDArray[np.int64],
    shared: np.random.Generator,
    own: np.random.Generator,
) -> Floats:
    middle = _factors(sums, settings, shared) @ sums.of_group[at].T
    mass = sums.mass[at]
    alone = np.sum(list(sums.variance.values()), axis=0)[at]
    ln2 = np.log1p(np.divide(alone, mass**2, out=np.zeros(len(at)), where=mass > 0))
    normal = own.standard_normal(middle.shape)
    return np.asarray(middle * np.exp(np.sqrt(ln2) * normal - ln2 / 2))


def carbon_intervals(
    trees: pd.DataFrame, facts: PlotFacts, fraction: float, settings: Draws
) -> pd.DataFrame:
    """Carbon and CO2 of each plot and census, t per hectare, with their intervals.

    ``carbon_kg`` (the equations' figure), ``low_kg``, ``high_kg``; ``carbon_t_ha``, ``low_t_ha``,
    ``high_t_ha``; ``co2_t_ha``; from the census before: ``change_kg`` with ``change_low_kg`` and
    ``change_high_kg``, ``years``, and per hectare and year ``co2_t_ha_year``,
    ``co2_low_t_ha_year``, ``co2_high_t_ha_year`` (none where the area changed). Also ``mass_t_ha``,
    ``outside_range``, ``no_equation``, ``why``. Where nothing stands, the stock is 0 and so are its
    bounds.

    Each bound stands once more with ``measuring`` in its name: what measuring alone leaves unsure,
    the equations taken for right. Two censuses or plots under the same equations are compared by
    these.
    """
    table = biomass_summary(trees, facts)
    sums = mass_sums(trees, settings)
    unknown = table["carbon_kg"].isna().to_numpy()
    table["change_kg"] = table["carbon_kg"].diff().where(sums.follows)
    untold = table["change_kg"].isna().to_numpy()
    for kind, bounds in (("", _bounds(sums, settings)), ("measuring_", _measuring(sums, settings))):
        for at, name in enumerate(("low_kg", "high_kg", "low_kg", "high_kg")):
            before = "change_" if at >= 2 else ""
            column = np.where(untold if before else unknown, np.nan, bounds[:, at] * fraction)
            table[f"{before}{kind}{name}"] = column
    same = np.isclose(table["area_ha"], table["area_ha"].shift())
    scale = (1000 * table["area_ha"] * table["years"]).where(same)
    table["co2_t_ha_year"] = table["change_kg"] * CO2_PER_CARBON / scale
    for bound in ("low", "high", "measuring_low", "measuring_high"):
        table[f"{bound}_t_ha"] = table[f"{bound}_kg"] / 1000 / table["area_ha"]
        grown = table[f"change_{bound}_kg"] * CO2_PER_CARBON
        table[f"co2_{bound}_t_ha_year"] = grown / scale
    changed = sums.follows & ~same & table["area_ha"].notna().to_numpy()
    table["why"] = np.select([unknown, changed], [NO_EQUATION, AREA_CHANGED], "")
    return table


def _bounds(sums: Sums, settings: Draws) -> Floats:
    """(groups, 4): bounds of the mass, and of its change since the plot's previous census."""
    count = len(sums.groups)
    found = np.zeros((count, 4))
    _, own = _streams(settings)
    step = max(2, _CELLS // settings.draws)
    for start in range(0, count, step):
        at = np.arange(start, min(start + step, count))
        stocks = _stocks(sums, settings, at, _streams(settings)[0], own)
        found[at, 0], found[at, 1] = interval(stocks, settings.level)
        before = np.maximum(at - 1, 0)
        grown = sums.of_group[at] - sums.of_group[before]
        change = _factors(sums, settings, _streams(settings)[0]) @ grown.T
        change += own.standard_normal(change.shape) * np.sqrt(np.nan_to_num(sums.change[at]))
        found[at, 2], found[at, 3] = interval(change, settings.level)
    return found


def _measuring(sums: Sums, settings: Draws) -> Floats:
    """As ``_bounds``, with the equations taken as exact: by variances, so nothing is drawn."""
    half = NormalDist().inv_cdf((1 + settings.level) / 2)
    mass = sums.mass
    share = np.divide(sums.measuring, mass**2, out=np.zeros(len(mass)), where=mass > 0)
    ln2 = np.log1p(share)
    wide = half * np.sqrt(np.nan_to_num(sums.change_measuring))
    change = mass - np.r_[0.0, mass[:-1]]
    stocks = [mass * np.exp(sign * half * np.sqrt(ln2) - ln2 / 2) for sign in (-1, 1)]
    return np.column_stack([*stocks, change - wide, change + wide])


def interval(draws: Floats, level: float) -> tuple[Floats, Floats]:
    """The middle ``level`` share of draws: lower and upper quantile of each column."""
    tail = (1 - level) / 2
    low, high = np.quantile(draws, [tail, 1 - tail], axis=0) if draws.size else ([], [])
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)


def carbon_parts(trees: pd.DataFrame, settings: Draws) -> pd.DataFrame:
    """The share of each of PARTS in the variance of each stock.

    ``plot``, ``census``, the shares, and ``deviation_percent``, the standard deviation of the
    whole. NaN if nothing stands.
    """
    sums = mass_sums(trees, settings)
    equation = (sums.of_group**2 * np.expm1(sums.shared_ln**2)).sum(axis=1)
    parts = {**sums.variance, "equation": equation}
    whole = sum(parts.values())
    table = sums.groups.copy()
    with np.errstate(invalid="ignore", divide="ignore"):
        for name in PARTS:
            table[name] = parts[name] / whole
        table["deviation_percent"] = 100 * np.sqrt(whole) / sums.mass
    return table


def carbon_of_site(
    trees: pd.DataFrame, carbon: pd.DataFrame, fraction: float, settings: Draws
) -> pd.DataFrame:
    """Mean carbon over plots in each census, t per hectare, with the sampling error of plots.

    ``census``, ``plots``, ``mean_t_ha``, ``low_t_ha``, ``high_t_ha``, ``why``. Between plots by
    Student's t; the departure of equations, and a crew's offset, are shared by all plots.
    """
    sums = mass_sums(trees, settings)
    area = carbon["area_ha"].to_numpy(dtype=np.float64)
    known = np.isfinite(area) & carbon["carbon_t_ha"].notna().to_numpy()
    shared, own = _streams(settings)
    factors = _factors(sums, settings, shared)
    rows = []
    for census in np.unique(carbon["census"][known]):
        at = np.flatnonzero(known & (carbon["census"] == census).to_numpy())
        dense = carbon["carbon_t_ha"].to_numpy(dtype=np.float64)[at]
        row = {"census": census, "plots": len(at), "mean_t_ha": dense.mean()}
        if len(at) < FEWEST_PLOTS:
            rows.append({**row, "low_t_ha": np.nan, "high_t_ha": np.nan, "why": FEW_PLOTS})
            continue
        scale = fraction / 1000 / area[at]
        middle = factors @ (sums.of_group[at] * scale[:, None]).mean(axis=0)
        spread = dense.std(ddof=1) / np.sqrt(len(at))
        crew = (sums.crew[at] * scale).mean() * settings.error.crew_cm
        drawn = middle + spread * own.standard_t(len(at) - 1, settings.draws)
        low, high = interval(
            (drawn + crew * own.standard_normal(settings.draws))[:, None], settings.level
        )
        rows.append({**row, "low_t_ha": max(0.0, low[0]), "high_t_ha": high[0], "why": ""})
    columns = ["census", "plots", "mean_t_ha", "low_t_ha", "high_t_ha", "why"]
    return pd.DataFrame(rows, columns=columns)
