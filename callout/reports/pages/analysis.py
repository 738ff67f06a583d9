"""Every table of the report, computed once from the frames under one set of settings.

The pages and CSVs show these tables and nothing else. No files and no HTML here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.pages.cautions import cautions, plots_apart
from callout.reports.pages.stand_tables import (
    NONE_YET,
    StandBasis,
    heights_of,
    tables_by_plot,
    tables_over_plots,
)
from callout.reports.stand.census import measured_again, unsettled, with_aside
from callout.reports.stand.corrected import corrected
from callout.reports.stand.dynamics.change import scope_facts
from callout.reports.stand.dynamics.climate import corrected as corrected_tries
from callout.reports.stand.dynamics.climate import correlations
from callout.reports.stand.dynamics.compare import (
    NONE_TOLD,
    Figure,
    assigned,
    change_rows,
    level_rows,
    treatment_effects,
    treatment_means,
)
from callout.reports.stand.dynamics.fluxes import fluxes
from callout.reports.stand.dynamics.growth import growth_by_year, increments
from callout.reports.stand.dynamics.periods import judged_periods
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import (
    CarbonSettings,
    carbon_components,
    one_species,
    stem_biomass,
)
from callout.reports.stand.mass.equation_set import EquationSet, read_equations
from callout.reports.stand.mass.gaps import left_out, species_gaps
from callout.reports.stand.mass.mass_variance import Draws, with_error
from callout.reports.stand.mass.reading_errors import ErrorModel, from_repeats
from callout.reports.stand.mass.uncertainty import carbon_intervals, carbon_of_site, carbon_parts
from callout.reports.stand.sampling import FEWEST_STEMS

COMPARED = {
    "basal_area_m2_ha": Figure("basal_area_m2_ha", "Basal area, m² a hectare", 2),
    "qmd_cm": Figure("qmd_cm", "Quadratic mean diameter, cm", 1),
    "carbon_t_ha": Figure("carbon_t_ha", "Carbon, t a hectare", 1),
    "diameter_cm_year": Figure("diameter_cm_year", "Diameter growth, cm a year", 3),
}


@dataclass(frozen=True)
class ReportSettings:
    """What the reader may set; every figure depends on these.

    ``basis_m``: the height of measurement for stand figures; None takes for each plot the height at
    which most of its stems were measured. ``rounding``: the convention if none is given.
    """

    title: str = "Tree measurements"
    basis_m: float | None = None
    class_width_cm: float = 5
    control: str = ""
    rounding: str = "nearest"
    carbon: CarbonSettings = field(default_factory=CarbonSettings)
    equations: EquationSet = field(default_factory=read_equations)
    draws: Draws = field(default_factory=Draws)
    climate: pd.DataFrame | None = None
    made: str = ""
    notes: tuple[str, ...] = ()  # shown before our own cautions

    def __post_init__(self) -> None:
        """Raises OperatorError for a height that is not breast height."""
        if self.basis_m is not None and not 1 <= self.basis_m <= 1.6:
            raise OperatorError(f"basis {self.basis_m} m is no breast height: give 1.30 or 1.37")


@dataclass(frozen=True)
class Analysis:
    """The tables by name, and what a reader must know about them.

    ``heights`` are those of stand figures by plot; ``converted`` says whether any diameter had to
    be converted to them.
    """

    settings: ReportSettings
    tables: Mapping[str, pd.DataFrame]
    stems: pd.DataFrame
    plots: pd.DataFrame
    error: ErrorModel
    cautions: tuple[str, ...]
    heights: Mapping[str, float] = field(default_factory=dict)
    converted: bool = False


def analyse(
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    settings: ReportSettings,
    again: pd.DataFrame | None = None,
    history: pd.DataFrame | None = None,
) -> Analysis:
    """All tables of the report. Raises OperatorError for frames without any live diameter.

    ``again``: pairs of a blind second walk, in the form of ``measured_again``; with the survey's
    own they show how well it measures. ``history``: the dated facts of the plots.
    """
    untold = int(measurements["measured_height_m"].isna().sum())
    facts = PlotFacts(plots, history)
    measurements = corrected(measurements, facts, settings.rounding)
    stems, aside = with_aside(measurements)
    if not stems["measured"].any():
        raise OperatorError(NONE_YET)
    stems, renamed = one_species(stems)
    repeats = measured_again(measurements)
    if again is not None and len(again):
        repeats = pd.concat([repeats, again], ignore_index=True) if len(repeats) else again
    error = from_repeats(repeats)
    heights = heights_of(stems, settings.basis_m)
    trees = stem_biomass(stems, settings.equations, settings.carbon)
    basis = StandBasis(heights, settings.carbon.taper, settings.draws.taper_sd)
    pairs = increments(stems[~unsettled(stems)])
    tables: dict[str, pd.DataFrame] = {"set_aside": aside}
    tables |= tables_by_plot(stems, pairs, facts, basis, settings.class_width_cm)
    tables |= tables_over_plots(tables) | {
        "tree_growth": pairs,
        "growth_by_year": growth_by_year(pairs),
        "periods": judged_periods(pairs),
    }
    tables |= _carbon(trees, facts, with_error(settings.draws, error), settings)
    of_carbon = tables.pop("fluxes_of_carbon")
    tables["fluxes"] = pd.concat([tables["fluxes"], of_carbon], ignore_index=True)
    tables |= {
        "tree_carbon": _tree_columns(trees),
        "measured_again": repeats,
        "reidentified": renamed,
        "left_out": left_out(trees, settings.equations),
        "species_gaps": species_gaps(trees, settings.equations, settings.carbon.fraction),
    }
    tables |= _treatments(tables, facts, settings)
    if settings.climate is not None:
        tables["climate"] = _climate(tables["tree_growth"], plots, settings.climate, settings)
    told = (
        *settings.notes,
        *cautions(stems, trees, tables, untold),
        *plots_apart(heights, settings.carbon.taper),
    )
    converted = len(tables["one_height"]) > 0
    return Analysis(settings, tables, stems, plots, error, told, heights, converted)


def _carbon(
    trees: pd.DataFrame, facts: PlotFacts, drawn: Draws, settings: ReportSettings
) -> dict[str, pd.DataFrame]:
    fraction = settings.carbon.fraction
    carbon = carbon_intervals(trees, facts, fraction, drawn)
    change = carbon_components(trees, scope_facts(trees, facts))
    return {
        "carbon": carbon,
        "carbon_parts": carbon_parts(trees, drawn),
        "carbon_site": carbon_of_site(trees, carbon, fraction, drawn),
        "change_carbon_kg": change,
        "fluxes_of_carbon": fluxes(change, carbon, "carbon_t", 1e-3),
    }


def _tree_columns(trees: pd.DataFrame) -> pd.DataFrame:
    return trees.loc[
        trees["measured"],
        [
            "plot",
            "tag",
            "stem",
            "species",
            "census",
            "value",
            "unit",
            "group",
            "basis_cm",
            "mass_kg",
            "carbon_kg",
            "co2_kg",
            "note",
        ],
    ].reset_index(drop=True)


def _treatments(
    tables: Mapping[str, pd.DataFrame], facts: PlotFacts, settings: ReportSettings
) -> dict[str, pd.DataFrame]:
    """Treatments against the control, in state and in growth, with plots as the units."""
    summary, growth, carbon = tables["summary"], tables["growth"], tables["carbon"]
    days = tables["censuses"][["plot", "census", "census_day"]]
    dense = summary["area_ha"].notna().all()
    sources = {
        "basal_area_m2_ha" if dense else "qmd_cm": summary,
        **({"carbon_t_ha": carbon} if dense else {}),
    }
    rows = {name: level_rows(table, days, name) for name, table in sources.items()}
    # The mean of a few stems is not a plot's growth.
    enough = growth[growth["stems"] >= FEWEST_STEMS]
    rows["diameter_cm_year"] = change_rows(enough, days, "diameter_cm_year")
    found: dict[str, list[pd.DataFrame]] = {"treatment_means": [], "treatment_effects": []}
    for name, own in rows.items():
        told = assigned(own, facts)
        names = set(told["treatment"])
        if len(names) < 2:
            continue
        found["treatment_means"].append(treatment_means(told, COMPARED[name]))
        if control := _control(names, settings.control):
            found["treatment_effects"].append(treatment_effects(told, COMPARED[name], control))
    return {name: pd.concat(parts, ignore_index=True) for name, parts in found.items() if parts}


def _control(names: set[str], told: str) -> str:
    """The control's name: as set, else a treatment of that name, else ''."""
    if told and told not in names:
        known = ", ".join(sorted(names))
        raise OperatorError(f"no treatment {told!r}: there are {known}")
    return told or next((name for name in sorted(names) if name.casefold() == "control"), "")


def _climate(
    pairs: pd.DataFrame, plots: pd.DataFrame, climate: pd.DataFrame, settings: ReportSettings
) -> pd.DataFrame:
    """Growth beside climate: of all plots, or of control and treated plots separately."""
    treatment = plots.set_index(plots["plot"].astype(object))["treatment"].replace("", NONE_TOLD)
    names = set(treatment)
    control = _control(names, settings.control) if len(names) > 1 else ""
    if not control:
        return correlations(judged_periods(pairs), climate)
    groups = {"control plots": treatment == control, "treated plots": treatment != control}
    return corrected_tries(
        pd.concat(
            [
                correlations(judged_periods(pairs, treatment.index[own]), climate, name)
                for name, own in groups.items()
            ],
            ignore_index=True,
        )
    )
