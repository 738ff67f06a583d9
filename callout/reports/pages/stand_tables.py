"""The stand's tables: those of each plot by itself, and those over plots made from them.

A plot's tables need no other plot, so many plots can be computed in parts. No files here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from callout.reports.stand.census import census_table
from callout.reports.stand.composition import composition
from callout.reports.stand.dynamics.change import components, scope_facts, whole_basal_area
from callout.reports.stand.dynamics.fluxes import fluxes
from callout.reports.stand.dynamics.growth import growth_by_plot, growth_by_year, growth_of_site
from callout.reports.stand.dynamics.rates import as_trees, demographic_rates, rates_of_site
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import interval_years
from callout.reports.stand.summary import diameter_classes, stand_summary
from callout.reports.stand.taper import Taper, common_heights, effect, on_one_basis

NONE_YET = "no live stem has a diameter yet: measure first, then report"


@dataclass(frozen=True)
class StandBasis:
    """The height of measurement, metres, of each plot's stand figures, and how to convert to it."""

    heights: Mapping[str, float]
    taper: Taper
    taper_sd: float


def heights_of(stems: pd.DataFrame, basis_m: float | None) -> dict[str, float]:
    """The height of each plot's stand figures: ``basis_m``, else that of most of its stems."""
    if basis_m is not None:
        return dict.fromkeys((str(plot) for plot in stems["plot"].unique()), basis_m)
    return common_heights(stems)


def tables_by_plot(
    stems: pd.DataFrame,
    pairs: pd.DataFrame,
    facts: PlotFacts,
    basis: StandBasis,
    class_width_cm: float,
) -> dict[str, pd.DataFrame]:
    """The stand, its growth and its changes by plot; growth uses diameters as measured.

    ``pairs`` are the ``increments`` of the settled ones of ``stems``.
    """
    height = stems["plot"].astype(object).map(basis.heights).to_numpy(dtype=np.float64)
    on_basis = on_one_basis(stems, height, basis.taper)
    scope = scope_facts(stems, facts)
    change = components(on_basis, whole_basal_area(on_basis), facts=scope)
    rates = demographic_rates(stems, scope)
    single = (stems["stem"] == "").all()
    summary = stand_summary(on_basis, facts)
    censuses = census_table(stems)
    keys = ["plot", "census"]
    labels = summary[keys].merge(censuses[[*keys, "label"]], how="left", on=keys)["label"]
    held = summary[[*keys, "area_ha", "treatment"]]
    spans = held.merge(interval_years(stems), how="left", on=keys)
    return {
        "censuses": censuses.merge(held, how="left", on=keys),
        "summary": summary.assign(label=labels.array),
        "composition": composition(on_basis, summary),
        "diameter_classes": diameter_classes(on_basis, summary, class_width_cm),
        "growth": growth_by_plot(pairs),
        "growth_by_plot_and_year": growth_by_year(pairs, ("plot", "species")),
        "change_basal_area": change,
        "fluxes": fluxes(change, spans, "basal_area_m2"),
        "rates": rates,
        "rates_trees": rates if single else demographic_rates(as_trees(stems), scope),
        "one_height": effect(stems, height, basis.taper, basis.taper_sd),
    }


def tables_over_plots(by_plot: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """What is made from tables of all plots, the plot as the unit."""
    return {
        "growth_site": growth_of_site(by_plot["growth"]),
        "rates_site": rates_of_site(by_plot["rates"]),
    }
