"""The dictionary of the report's tables: what each column means, in which unit.

A column without a description is a defect: the tests look for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from callout.reports.exchange.cells import MEANING

TABLES = {
    "censuses": "one row a plot and census: its days and what was met",
    "set_aside": "measurements whose day belongs to no census",
    "summary": "the stand of each plot at each census",
    "composition": "the stand by species",
    "diameter_classes": "live measured stems by diameter class",
    "tree_growth": "growth of each stem between two censuses",
    "growth": "mean growth of each plot between two censuses",
    "growth_site": "mean growth of all plots, the plot as the unit",
    "growth_by_year": "mean growth of each species in each year",
    "growth_by_plot_and_year": "the same in each plot",
    "periods": "growth between censuses, and whether it was good or bad",
    "change_basal_area": "components of change of basal area, m²; they add up exactly",
    "change_carbon_kg": "components of change of carbon, kg; they add up exactly",
    "fluxes": "what came and went, a hectare and year",
    "rates": "mortality and recruitment by stem",
    "rates_trees": "mortality and recruitment by tree",
    "rates_site": "mortality and recruitment of all plots, the plot as the unit",
    "carbon": "carbon and CO2 of each plot at each census",
    "carbon_parts": "what the uncertainty of carbon is made of, shares of its variance",
    "carbon_site": "carbon of all plots, the plot as the unit",
    "tree_carbon": "mass and carbon of each measured stem",
    "one_height": "what bringing diameters to one height does",
    "measured_again": "stems measured twice within days",
    "reidentified": "stems whose species was told differently later",
    "left_out": "measured stems that have no mass",
    "species_gaps": "what the stems left out of carbon would change",
    "treatment_means": "means of the plots of each treatment",
    "treatment_effects": "treatments against the control",
    "climate": "growth and climate",
    "visits": "what was met on each visit",
}
_95 = "end of the 95 % interval"
_ALONE = "of what measuring alone leaves unsure, the equations taken for right"
# Meaning and unit by column; by table and column if a name means something else there.
COLUMNS: Mapping[str, tuple[str, str]] = {
    "census": ("the census, by the year of its middle day", ""),
    "label": ("the census as people call it", ""),
    "census_day": ("middle day of the census", ""),
    "first_day": ("first day of the census", ""),
    "last_day": ("last day of the census", ""),
    "from_census": ("the earlier census", ""),
    "to_census": ("the later census", ""),
    "years": ("years between", "years of 365.25 days"),
    "stems": ("live stems with a diameter", ""),
    "trees": ("live trees with a diameter", ""),
    "unmeasured": ("live stems without a diameter or a row", ""),
    "measured": ("live stems with a diameter", ""),
    "dead": ("stems found dead", ""),
    "who": ("who called", ""),
    "mean_diameter_cm": ("arithmetic mean diameter", "cm"),
    "qmd_cm": ("quadratic mean diameter", "cm"),
    "qmd_in": ("quadratic mean diameter", "in"),
    "basal_area_m2": ("basal area", "m²"),
    "basal_area_m2_ha": ("basal area a hectare", "m²/ha"),
    "basal_area_ft2_acre": ("basal area an acre", "ft²/acre"),
    "standing_dead_stems": ("standing dead stems", ""),
    "standing_dead_m2": ("basal area of standing dead, by their last diameter", "m²"),
    "stems_per_ha": ("live stems a hectare", "1/ha"),
    "stems_per_acre": ("live stems an acre", "1/acre"),
    "sdi_per_ha": ("stand density index", "1/ha"),
    "sdi_per_acre": ("stand density index", "1/acre"),
    "share_percent": ("share of the plot's basal area", "%"),
    "class_from_cm": ("lower end of the class, in it", "cm"),
    "class_to_cm": ("upper end of the class, not in it", "cm"),
    "from_cm": ("diameter at the earlier census", "cm"),
    "to_cm": ("diameter at the later census", "cm"),
    "diameter_cm": ("growth in diameter", "cm"),
    "diameter_cm_year": ("growth in diameter a year", "cm/year"),
    "low_cm_year": (f"lower {_95}", "cm/year"),
    "high_cm_year": (f"upper {_95}", "cm/year"),
    "basal_area_m2_year": ("growth in basal area a year", "m²/year"),
    "relative_year": ("ln d2 - ln d1 a year", "1/year"),
    "same_height": ("whether both were measured at the same height", ""),
    "moved": ("stems left out: measured at another height", ""),
    "plots": ("plots that the figure is of", ""),
    "mean": ("mean", "as the figure"),
    "low": (f"lower {_95}", "as the figure"),
    "high": (f"upper {_95}", "as the figure"),
    "year": ("calendar year", ""),
    "spread": ("share of stems whose growth is spread over several years", ""),
    "standardised": ("deviations of periods from their mean", ""),
    "anomaly_cm_year": ("growth off the mean of periods", "cm/year"),
    "p": ("probability under no effect", ""),
    "p_corrected": ("probability under no effect, corrected for how many were tried", ""),
    "judged": ("good, bad, ordinary, or not judged", ""),
    "why": ("why a figure is missing or left out", ""),
    "at_first": ("amount at the earlier census", "m² or kg"),
    "at_second": ("amount at the later census", "m² or kg"),
    "survivor_growth": ("growth of stems measured at both", "m² or kg"),
    "ingrowth": ("new stems", "as the pool"),
    "found_again": ("known before, not measured at the earlier census", "m² or kg"),
    "scope": ("came or went with a change of area or smallest diameter", "as the pool"),
    "mortality": ("died", "as the pool"),
    "cut": ("cut", "as the pool, or stems"),
    "lost": ("told missing or not found", "as the pool, or stems"),
    "net": ("later less earlier", "as the pool"),
    "pool": ("what flows: basal_area_m2 or carbon_t", ""),
    "growth": ("growth of survivors", "pool/ha/year"),
    "not_followed": ("found again less not found and not measured", "pool/ha/year"),
    "at_risk": ("stems at the earlier census whose fate is known", ""),
    "survivors": ("of them alive at the later", ""),
    "died": ("of them dead", ""),
    "late": ("deaths found after a census that missed them, spread", ""),
    "recruits": ("new stems", ""),
    "mortality_year": ("annual mortality (ln N - ln S) / t", "1/year"),
    "mortality_low": (f"lower {_95}", "1/year"),
    "mortality_high": (f"upper {_95}", "1/year"),
    "recruitment_year": ("annual recruitment (ln N2 - ln S) / t", "1/year"),
    "recruitment_low": (f"lower {_95}", "1/year"),
    "recruitment_high": (f"upper {_95}", "1/year"),
    "mass_kg": ("above-ground dry mass", "kg"),
    "mass_t_ha": ("above-ground dry mass a hectare", "Mg/ha"),
    "carbon_kg": ("carbon in it", "kg"),
    "co2_kg": ("the same as CO2", "kg"),
    "carbon_t_ha": ("carbon a hectare", "Mg/ha"),
    "co2_t_ha": ("the same as CO2", "Mg/ha"),
    "carbon_t_ha_year": ("change of carbon from the census before", "Mg/ha/year"),
    "co2_t_ha_year": ("the same as CO2", "Mg/ha/year"),
    "co2_low_t_ha_year": (f"lower {_95}", "Mg/ha/year"),
    "co2_high_t_ha_year": (f"upper {_95}", "Mg/ha/year"),
    "low_kg": (f"lower {_95} of carbon", "kg"),
    "high_kg": (f"upper {_95} of carbon", "kg"),
    "low_t_ha": (f"lower {_95} of carbon", "Mg/ha"),
    "high_t_ha": (f"upper {_95} of carbon", "Mg/ha"),
    "measuring_low_kg": (f"lower {_95} {_ALONE}", "kg"),
    "measuring_high_kg": (f"upper {_95} {_ALONE}", "kg"),
    "measuring_low_t_ha": (f"lower {_95} {_ALONE}", "Mg/ha"),
    "measuring_high_t_ha": (f"upper {_95} {_ALONE}", "Mg/ha"),
    "change_measuring_low_kg": (f"lower {_95} {_ALONE}", "kg"),
    "change_measuring_high_kg": (f"upper {_95} {_ALONE}", "kg"),
    "co2_measuring_low_t_ha_year": (f"lower {_95} {_ALONE}", "Mg/ha/year"),
    "co2_measuring_high_t_ha_year": (f"upper {_95} {_ALONE}", "Mg/ha/year"),
    "mean_t_ha": ("mean carbon of plots", "Mg/ha"),
    "change_kg": ("change of carbon from the census before", "kg"),
    "change_low_kg": (f"lower {_95}", "kg"),
    "change_high_kg": (f"upper {_95}", "kg"),
    "outside_range": ("stems outside their equation's range", ""),
    "no_equation": ("stems without an equation, left out", ""),
    "another_height": ("stems measured elsewhere than their equation's diameter, left out", ""),
    "deviation_percent": ("standard deviation of carbon", "%"),
    "reading": ("share of reading error", ""),
    "large": ("share of large errors of few readings", ""),
    "rounding": ("share of rounding", ""),
    "tree": ("share of single trees' departure from their equation", ""),
    "crew": ("share of a crew's offset", ""),
    "taper": ("share of bringing diameters to one height", ""),
    "equation": ("share of what all trees of an equation have in common", ""),
    "group": ("the equation's group", ""),
    "basis_cm": ("diameter at the equation's height", "cm"),
    "note": ("no equation, another height, below or above range", ""),
    "as_measured_m2": ("basal area as measured", "m²"),
    "at_one_height_m2": ("basal area at one height", "m²"),
    "change_percent": ("change by it", "%"),
    "change_low_percent": (f"lower {_95}", "%"),
    "change_high_percent": (f"upper {_95}", "%"),
    "first_cm": ("first diameter", "cm"),
    "second_cm": ("second diameter", "cm"),
    "difference_cm": ("second minus first", "cm"),
    "before": ("species told before", ""),
    "now": ("species told last, by which figures go", ""),
    "first": ("first census", ""),
    "last": ("last census", ""),
    "basal_area_percent": ("share of the plot's basal area", "%"),
    "carbon_low_kg": ("carbon by the lightest equation of the set", "kg"),
    "carbon_high_kg": ("carbon by the heaviest equation of the set", "kg"),
    "figure": ("what is compared", ""),
    "period": ("before or after, or all", ""),
    "control": ("the treatment compared against", ""),
    "design": ("before and after, or level", ""),
    "control_plots": ("plots of the control", ""),
    "effect": ("difference from the control", "as the figure"),
    "freedom": ("degrees of freedom", ""),
    "told": ("the finding in words", ""),
    "caveat": ("what to mind", ""),
    "season": ("months of the climate figure", ""),
    "lag": ("years that the climate lies before", "years"),
    "n": ("pairs", ""),
    "r": ("Pearson's correlation", ""),
    "standard_error": ("standard error of the mean", "as the figure"),
}
IN_TABLE: Mapping[tuple[str, str], tuple[str, str]] = {
    ("rates", "unmeasured"): ("stems left out: no diameter or no row", ""),
    ("tree_growth", "basal_area_m2"): ("growth in basal area", "m²"),
    ("climate", "group"): ("which plots: their treatment", ""),
}


def meaning_of(table: str, column: str) -> tuple[str, str]:
    """A column's meaning and unit; ('', '') if it has no description."""
    found = IN_TABLE.get((table, column)) or COLUMNS.get(column)
    return found or (MEANING.get(column, ""), "")


def dictionary(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Every column of every table: ``table``, ``column``, ``meaning``, ``unit``."""
    rows = [
        (name, str(column), *meaning_of(name, str(column)))
        for name, table in tables.items()
        for column in table.columns
    ]
    return pd.DataFrame(rows, columns=["table", "column", "meaning", "unit"], dtype=object)


def table_package(tables: Mapping[str, pd.DataFrame], title: str) -> dict[str, Any]:
    """The descriptor of a data package of the tables' CSVs."""
    return {
        "profile": "data-package",
        "name": "report-tables",
        "title": title,
        "resources": [
            {
                "name": name.replace("_", "-"),
                "path": f"{name}.csv",
                "description": TABLES.get(name, ""),
                "format": "csv",
                "encoding": "utf-8",
                "schema": {
                    "fields": [_field(name, str(column)) for column in table.columns],
                    "missingValues": [""],
                },
            }
            for name, table in tables.items()
        ],
    }


def _field(table: str, column: str) -> dict[str, str]:
    meaning, unit = meaning_of(table, column)
    return {"name": column, "description": meaning, **({"unit": unit} if unit else {})}
