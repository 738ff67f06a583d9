"""Dry mass, carbon and CO2 per stem, plot and hectare, from a set of published equations.

Above-ground mass of live trees only: no soil, roots, litter or dead wood, and no substitute for a
verified inventory. Diameters are brought to the height the equations were made for. Stems outside
an equation's range and species without one are reported, never hidden. A diameter taken at another
height than the equation's (a juniper of the woodlands at breast height) gives no mass.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.stand.census import codes_of
from callout.reports.stand.dynamics.change import MILLIGRAM, components, whole
from callout.reports.stand.dynamics.late import census_days
from callout.reports.stand.formulas import years_between
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.equation_set import EquationSet
from callout.reports.stand.taper import Taper, at_height, moved_by

NO_EQUATION, ANOTHER_HEIGHT = "no equation", "another height"  # notes of stems left out
CO2_PER_CARBON = 44 / 12  # molar masses of CO2 and C, as whole numbers (IPCC 2006)
# Carbon in dry mass: 0.5 (round figure in wide use), 0.47 (default of the IPCC 2006
# guidelines, as several public codes cite them).
CARBON_FRACTIONS = {"0.5": "round figure in wide use", "0.47": "IPCC 2006 guidelines"}


@dataclass(frozen=True)
class CarbonSettings:
    """The share of dry mass that is carbon, and how diameters are brought to one height."""

    fraction: float = 0.47
    taper: Taper = field(default_factory=Taper)

    def __post_init__(self) -> None:
        """Raises OperatorError for an impossible carbon fraction."""
        if not 0.3 <= self.fraction <= 0.6:
            raise OperatorError(f"carbon fraction {self.fraction} is not of wood: give 0.47 or 0.5")


def mass_kg(diameter_cm: object, b0: object, b1: object) -> np.ndarray:
    """exp(b0 + b1 ln d): arrays of one shape, kg of dry mass, d in cm above zero."""
    size = np.asarray(diameter_cm, dtype=np.float64)
    return np.asarray(np.exp(np.asarray(b0) + np.asarray(b1) * np.log(size)), dtype=np.float64)


def stem_biomass(
    stems: pd.DataFrame, equations: EquationSet, settings: CarbonSettings | None = None
) -> pd.DataFrame:
    """``stems`` (from ``stem_census``) with the equation and mass of each live measured stem.

    Adds ``group``, ``basis_cm`` (diameter at the equations' height), ``b0``, ``b1``,
    ``residual_ln``, ``mass_kg``, ``carbon_kg``, ``co2_kg`` (NaN if not measured or without an
    equation) and ``note``: '', 'no equation', 'another height' (than the equation's: no mass),
    'below range' or 'above range'.
    """
    settings = settings or CarbonSettings()
    codes, species = pd.factorize(stems["species"])
    groups = np.array([equations.group_of(str(name)) for name in species] + [""], dtype=object)
    rows = [equations.equations.get(group) for group in groups]
    figures = np.array(
        [
            (row.b0, row.b1, row.from_cm, row.to_cm, row.residual_ln, row.lowest_m, row.highest_m)
            if row
            else [np.nan] * 7
            for row in rows
        ]
    )
    b0, b1, lower, upper, residual, lowest, highest = figures[codes].T
    size = stems["diameter_cm"].where(stems["measured"]).to_numpy(dtype=np.float64)
    basis = at_height(size, stems["measured_height_m"], equations.breast_height_m, settings.taper)
    elsewhere = _elsewhere(stems["measured_height_m"], lowest, highest)
    mass = np.where(elsewhere, np.nan, mass_kg(basis, b0, b1))
    measured = stems["measured"].to_numpy(dtype=bool)
    note = np.select(
        [measured & part for part in (np.isnan(b0), elsewhere, basis < lower, basis > upper)],
        [NO_EQUATION, ANOTHER_HEIGHT, "below range", "above range"],
        "",
    )
    return stems.assign(
        group=groups[codes],
        basis_cm=basis,
        b0=b0,
        b1=b1,
        residual_ln=residual,
        mass_kg=mass,
        moved_m=moved_by(stems["measured_height_m"], equations.breast_height_m, settings.taper),
        carbon_kg=mass * settings.fraction,
        co2_kg=mass * settings.fraction * CO2_PER_CARBON,
        note=note,
    )


def _elsewhere(height_m: pd.Series, lowest: np.ndarray, highest: np.ndarray) -> np.ndarray:
    """Which diameters were taken at another height than the equation's.

    One of unknown height counts as breast height: nobody leaves the root collar unsaid.
    """
    height = height_m.to_numpy(dtype=np.float64)
    outside = (height < lowest) | (height > highest)
    return np.asarray(np.where(np.isnan(height), np.isfinite(highest), outside), dtype=bool)


def biomass_summary(trees: pd.DataFrame, facts: PlotFacts) -> pd.DataFrame:
    """One row per plot and census of ``trees`` (from ``stem_biomass``), plots without a stem too.

    ``mass_kg``, ``carbon_kg``, ``co2_kg``; per hectare ``mass_t_ha``, ``carbon_t_ha``,
    ``co2_t_ha``; and from the census before, a year: ``carbon_t_ha_year``, ``co2_t_ha_year``.
    ``no_equation`` and ``another_height`` stems are left out of the sums; ``outside_range`` stems
    are in them. Where live stems stand and none has a mass, the sums are NaN; where none stands, 0.
    """
    code = codes_of(trees, ["plot", "census"])
    groups, first, code = np.unique(code, return_index=True, return_inverse=True)
    table = trees[["plot", "census", "visit", "census_day"]].iloc[first].reset_index(drop=True)
    known = np.bincount(code, trees["mass_kg"].notna(), len(groups))
    live = np.bincount(code, trees["measured"], len(groups))
    for name in ("mass_kg", "carbon_kg", "co2_kg"):
        sums = np.bincount(code, trees[name].fillna(0.0), len(groups))
        table[name] = np.where((known == 0) & (live > 0), np.nan, sums)
    outside = trees["note"].isin(["below range", "above range"])
    table["outside_range"] = np.bincount(code, outside, len(groups)).astype(np.int64)
    for name, note in (("no_equation", NO_EQUATION), ("another_height", ANOTHER_HEIGHT)):
        left_out = trees["note"] == note
        table[name] = np.bincount(code, left_out, len(groups)).astype(np.int64)
    table = table.sort_values(["plot", "census"], kind="stable").reset_index(drop=True)
    area = facts.on(table["plot"], table["census_day"])["area_ha"]
    for name in ("mass", "carbon", "co2"):
        table[f"{name}_t_ha"] = table[f"{name}_kg"] / 1000 / area
    spans = interval_years(trees)
    years = table.merge(spans, how="left", on=["plot", "census"])["years"].astype("float64")
    for name in ("carbon", "co2"):
        change = table.groupby("plot", observed=True)[f"{name}_t_ha"].diff()
        table[f"{name}_t_ha_year"] = change / years
    return table.drop(columns=["visit", "census_day"]).assign(area_ha=area, years=years)


def interval_years(stems: pd.DataFrame) -> pd.DataFrame:
    """Years since the previous census: ``plot``, ``census``, ``years``.

    The mean over the stems recorded in both, alive or not; else between the censuses' middle days.
    """
    rows = stems[["plot", "census", "census_day", "visit", "date"]]
    code = stems["stem_code"].to_numpy()
    visit = stems["visit"].to_numpy()
    follows = np.flatnonzero((code[1:] == code[:-1]) & (visit[1:] == visit[:-1] + 1)) + 1
    pairs = rows[["plot", "visit"]].iloc[follows].reset_index(drop=True)
    day = rows["date"].array
    pairs["years"] = years_between(day[follows - 1], day[follows])
    means = pairs.groupby(["plot", "visit"], observed=True)["years"].mean().reset_index()
    days = census_days(stems)
    days["between"] = days.groupby("plot", observed=True)["years"].shift()
    table = days[["plot", "visit", "census", "between"]].merge(
        means, how="left", on=["plot", "visit"]
    )
    table["years"] = table["years"].fillna(table.pop("between"))
    return table.loc[table["visit"] > 0, ["plot", "census", "years"]].reset_index(drop=True)


def one_species(stems: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """``stems`` with each stem's latest species, and the stems that were renamed.

    A newly identified tree was that species all along: its carbon must not jump. Second: ``plot``,
    ``tag``, ``stem``, ``before``, ``now``, ``census`` (from which the name differs).
    """
    species = stems["species"].astype(object).to_numpy()
    code = stems["stem_code"].to_numpy()
    told = pd.notna(species) & (species != "")
    place = np.flatnonzero(told)
    newest = np.full(int(code.max(initial=-1)) + 1, -1, dtype=np.int64)
    newest[code[place]] = place  # rows are in order of censuses: the last one counts
    at = newest[code]
    now = np.where(at >= 0, species[at], species)
    renamed = np.flatnonzero(told & (now != species))
    table = (
        stems[["plot", "tag", "stem"]]
        .iloc[renamed]
        .assign(
            before=species[renamed],
            now=now[renamed],
            census=stems["census"].to_numpy()[at[renamed]],
        )
    )
    table = table.drop_duplicates(["plot", "tag", "stem", "before"]).reset_index(drop=True)
    if not len(renamed) and told.all():
        return stems, table
    return stems.assign(species=pd.Series(now, index=stems.index).astype("category")), table


def carbon_components(trees: pd.DataFrame, facts: pd.DataFrame | None = None) -> pd.DataFrame:
    """Components of change of carbon, kg exact to the milligram; see ``change.components``.

    Stems without an equation count as nothing on both sides.
    """
    amount = whole(trees["carbon_kg"].fillna(0.0), trees["measured"], float(1 / MILLIGRAM))
    return components(trees, amount, Decimal(MILLIGRAM), facts)
