"""Every table of the report, computed once from the two frames under one set of settings.

The pages and CSVs show these tables and nothing else. No files and no HTML here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.stand.biomass import (
    CO2_PER_CARBON,
    CarbonSettings,
    biomass_summary,
    carbon_components,
    stem_biomass,
)
from callout.reports.stand.census import measured_again, stem_census, visits
from callout.reports.stand.change import components, demographic_rates, whole_basal_area
from callout.reports.stand.climate import correlations
from callout.reports.stand.columns import LIVE, LOST
from callout.reports.stand.equation_set import EquationSet, read_equations
from callout.reports.stand.gaps import left_out, species_gaps
from callout.reports.stand.growth import (
    growth_by_plot,
    growth_by_year,
    increments,
    judged_periods,
)
from callout.reports.stand.summary import (
    against_control,
    area_of,
    by_treatment,
    diameter_classes,
    stand_summary,
)
from callout.reports.stand.taper import effect, on_one_basis
from callout.reports.stand.uncertainty import Draws, ErrorModel, carbon_intervals, from_repeats

GRADUATION_CM = {"in": 0.254, "cm": 0.1}  # a tenth of the unit, where the frame tells none


@dataclass(frozen=True)
class ReportSettings:
    """What the reader may set; every figure is under these."""

    title: str = "Tree measurements"
    basis_m: float = 1.30
    class_width_cm: float = 5
    starts_in_month: int = 1
    control: str = ""
    carbon: CarbonSettings = field(default_factory=CarbonSettings)
    equations: EquationSet = field(default_factory=read_equations)
    draws: Draws = field(default_factory=Draws)
    climate: pd.DataFrame | None = None
    made: str = ""
    notes: tuple[str, ...] = ()  # told before our own cautions

    def __post_init__(self) -> None:
        """Raises OperatorError for a height that is not breast height."""
        if not 1 <= self.basis_m <= 1.6:
            raise OperatorError(f"basis {self.basis_m} m is no breast height: give 1.30 or 1.37")


@dataclass(frozen=True)
class Analysis:
    """The tables by name, and what a reader must be told about them."""

    settings: ReportSettings
    tables: Mapping[str, pd.DataFrame]
    stems: pd.DataFrame
    plots: pd.DataFrame
    error: ErrorModel
    cautions: tuple[str, ...]


def analyse(
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    settings: ReportSettings,
    again: pd.DataFrame | None = None,
) -> Analysis:
    """All tables of the report. Raises OperatorError for frames without any live diameter.

    ``again``: pairs of a blind second walk, in the form of ``measured_again``; with the survey's
    own they say how well it measures.
    """
    untold = int(measurements["measured_height_m"].isna().sum())
    measurements = at_plots_height(measurements, plots)
    stems = stem_census(measurements, settings.starts_in_month)
    if not stems["measured"].any():
        raise OperatorError("no live stem has a diameter yet: measure first, then report")
    basis = on_one_basis(stems, settings.basis_m, settings.carbon.taper)
    repeats = measured_again(measurements)
    if again is not None and len(again):
        repeats = pd.concat([repeats, again], ignore_index=True) if len(repeats) else again
    error = from_repeats(repeats)
    trees = stem_biomass(stems, settings.equations, settings.carbon)
    trees = trees.assign(
        graduation_cm=_graduations(trees), rounding=roundings(trees, settings.draws.rounding)
    )
    tables = {
        "summary": stand_summary(basis, plots),
        "diameter_classes": diameter_classes(basis, plots, settings.class_width_cm),
        **_growth(basis),
        "change_basal_area": components(basis, whole_basal_area(basis)),
        "change_carbon_kg": carbon_components(trees),
        "rates": demographic_rates(stems),
        "carbon": _carbon(trees, plots, settings, error),
        "tree_carbon": _tree_columns(trees),
        "one_height": effect(stems, settings.basis_m, settings.carbon.taper),
        "measured_again": repeats,
        "visits": visits(stems),
        "left_out": left_out(trees, settings.equations),
        "species_gaps": species_gaps(trees, settings.equations, settings.carbon.fraction),
    }
    tables.update(_treatments(tables, plots, settings))
    if settings.climate is not None:
        tables["climate"] = correlations(tables["periods"], settings.climate)
    return Analysis(
        settings,
        tables,
        stems,
        plots,
        error,
        (
            *settings.notes,
            *_cautions(stems, trees, plots),
            *_gaps_told(tables["left_out"], tables["species_gaps"]),
            *_heights_told(untold, stems),
        ),
    )


def _graduations(trees: pd.DataFrame) -> pd.Series:
    unit = trees["unit"].astype(object)
    per_unit = unit.map({"in": 2.54, "cm": 1.0}).astype("float64")
    told = unit.map(GRADUATION_CM).astype("float64")
    if "graduation" in trees.columns:
        own = pd.to_numeric(trees["graduation"], errors="coerce") * per_unit
        return own.astype("float64").fillna(told)
    return told


def roundings(trees: pd.DataFrame, otherwise: str) -> pd.Series:
    """How each reading was rounded: as told, else as its plot's newest one, else ``otherwise``."""
    if "rounding" not in trees.columns:
        return pd.Series(otherwise, index=trees.index)
    own = trees["rounding"].astype(object).replace("", None)
    told = trees.assign(own=own)[own.notna()].sort_values("date", kind="stable")
    newest = told.groupby("plot", observed=True)["own"].last()
    plots = trees["plot"].astype(object).map(newest)
    return own.where(own.notna(), plots).fillna(otherwise)


def _growth(basis: pd.DataFrame) -> dict[str, pd.DataFrame]:
    pairs = increments(basis)
    by_year = growth_by_year(pairs)
    return {
        "tree_growth": pairs,
        "growth": growth_by_plot(pairs),
        "growth_by_year": by_year,
        "growth_by_plot_and_year": growth_by_year(pairs, ("plot", "species")),
        "periods": judged_periods(pairs),
    }


def _carbon(
    trees: pd.DataFrame, plots: pd.DataFrame, settings: ReportSettings, error: ErrorModel
) -> pd.DataFrame:
    drawn = Draws(**{**vars(settings.draws), "error": error})
    table = carbon_intervals(trees, plots, settings.carbon.fraction, drawn)
    sums = biomass_summary(trees, plots)
    kept = ["plot", "census", "mass_t_ha", "outside_range", "no_equation", "another_height"]
    kept.append("years")
    table = table.merge(sums[kept], how="right", on=["plot", "census"])
    scale = 1000 * area_of(table["plot"], plots) * table["years"]
    for ours, source in (("co2", "change"), ("co2_low", "change_low"), ("co2_high", "change_high")):
        table[f"{ours}_t_ha_year"] = table[f"{source}_kg"] * CO2_PER_CARBON / scale
    return table


def _tree_columns(trees: pd.DataFrame) -> pd.DataFrame:
    return trees.loc[
        trees["measured"],
        ["plot", "tag", "stem", "species", "census", "value", "unit", "group", "basis_cm",
         "mass_kg", "carbon_kg", "co2_kg", "note"],
    ].reset_index(drop=True)  # fmt: skip


def _treatments(
    tables: Mapping[str, pd.DataFrame], plots: pd.DataFrame, settings: ReportSettings
) -> dict[str, pd.DataFrame]:
    """Treatments side by side, in what stands and in how it grows, plots as replicates."""
    if plots["treatment"].replace("", np.nan).nunique() < 2:
        return {}
    summary, growth = tables["summary"], tables["growth"]
    figure = "basal_area_m2_ha" if summary["area_ha"].notna().all() else "qmd_cm"
    found = {}
    for rows, name, keys in (
        (summary, figure, ["census"]),
        (growth, "diameter_cm_year", ["from_census", "to_census"]),
    ):
        if rows.empty:
            continue
        table = by_treatment(rows, plots, name, keys)
        found[f"treatments_{name}"] = table
        if settings.control:
            found[f"against_control_{name}"] = against_control(table, settings.control, keys)
    return found


def _cautions(stems: pd.DataFrame, trees: pd.DataFrame, plots: pd.DataFrame) -> tuple[str, ...]:
    told = []
    without = plots["plot"][plots["area_ha"].isna()]
    if len(without):
        names = ", ".join(str(name) for name in without[:8])
        told.append(f"Area not known for {names}: nothing is given a hectare there.")
    for note, words in (
        ("above range", "measured stems are larger than their equation's range (extrapolated)"),
        ("below range", "measured stems are smaller than their equation's range (extrapolated)"),
    ):
        rows = trees[trees["note"] == note]
        if len(rows):
            kinds = ", ".join(str(name) or "not told" for name in rows["species"].unique()[:6])
            told.append(f"{len(rows)} {words}: {kinds}.")
    last = stems.groupby("plot", observed=True)["census"].transform("max")
    gone = stems["status"].isin(LOST) | ((stems["status"] == LIVE) & ~stems["measured"])
    absent = int((gone & (stems["census"] == last)).sum())
    if absent:
        told.append(
            f"{absent} stems were not found or not measured at their plot's last census: until "
            "they are, they count as lost in changes of basal area and carbon."
        )
    return tuple(told)


def _gaps_told(stems: pd.DataFrame, gaps: pd.DataFrame) -> list[str]:
    """How much of each plot carbon leaves out, and why."""
    told = []
    for why, rows in stems.groupby("why", sort=True):
        names = [str(name) or "species not told" for name in rows["species"].unique()]
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        share = gaps[gaps["why"] == why].groupby(["plot", "census"], observed=True)
        most = share["basal_area_percent"].sum().max()
        told.append(
            f"{len(rows)} stems are left out of carbon: {why} ({', '.join(names[:6])}{more}). They "
            f"are up to {most:.0f} % of a plot's basal area; the table species_gaps tells what "
            "they would change. Tell their species, or give --species-groups or --equations."
        )
    return told


def at_plots_height(measurements: pd.DataFrame, plots: pd.DataFrame) -> pd.DataFrame:
    """Rows that tell no height of measurement, at their plot's, where that is told.

    Left out of the step to one height, earlier visits would seem to be of another size.
    """
    height = plots.set_index("plot")["breast_height_m"].astype("float64")
    of_plot = measurements["plot"].astype(object).map(height).astype("float64")
    return measurements.assign(
        measured_height_m=measurements["measured_height_m"].astype("float64").fillna(of_plot)
    )


def _heights_told(untold: int, stems: pd.DataFrame) -> list[str]:
    if not untold:
        return []
    still = int(stems["measured_height_m"].isna().sum())
    rest = f"; {still} stems at a census are of plots that tell none, and taken as measured"
    return [
        f"{untold} rows tell no height of measurement: taken at their plot's breast height"
        f"{rest if still else ''}."
    ]
