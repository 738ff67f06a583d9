"""The page of one plot, and the tables that both kinds of page show.

Reads tables of ``analysis`` and describes them; computes nothing.
"""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter

import pandas as pd

from callout.reports.figures.changes import composition, fluxes_between, rates_through_time
from callout.reports.figures.stand import (
    carbon_through_time,
    change_components,
    diameter_distribution,
    growth_by_year,
)
from callout.reports.figures.style import Drawing
from callout.reports.figures.survey import measured_when
from callout.reports.pages.analysis import Analysis
from callout.reports.pages.html import contents, grid, heading, page, paragraph, picture

Columns = dict[str, tuple[str, int | None]]
STAND: Columns = {
    "plot": ("plot", None),
    "census": ("census", None),
    "stems": ("live stems", 0),
    "stems_per_ha": ("a hectare", 0),
    "stems_per_acre": ("an acre", 0),
    "basal_area_m2_ha": ("basal area m²/ha", 2),
    "basal_area_ft2_acre": ("ft²/acre", 1),
    "qmd_cm": ("QMD cm", 1),
    "qmd_in": ("QMD in", 1),
    "sdi_per_ha": ("density index /ha", 0),
}
GROWTH: Columns = {
    "plot": ("plot", None),
    "from_census": ("from", None),
    "to_census": ("to", None),
    "stems": ("stems", 0),
    "moved": ("at another height", 0),
    "diameter_cm_year": ("diameter cm/year", 3),
    "low_cm_year": ("95 % from", 3),
    "high_cm_year": ("to", 3),
    "basal_area_m2_year": ("basal area m²/year", 4),
    "relative_year": ("relative /year", 4),
    "why": ("", None),
}
CARBON: Columns = {
    "plot": ("plot", None),
    "census": ("census", None),
    "carbon_t_ha": ("carbon Mg C/ha (t/ha)", 1),
    "low_t_ha": ("95 % from", 1),
    "high_t_ha": ("to", 1),
    "co2_t_ha": ("CO2 t/ha", 1),
    "co2_t_ha_year": ("CO2 t/ha/year", 2),
    "co2_low_t_ha_year": ("95 % from", 2),
    "co2_high_t_ha_year": ("to", 2),
    "outside_range": ("stems outside range", 0),
    "no_equation": ("no equation", 0),
    "another_height": ("other height", 0),
    "why": ("", None),
}
MEASURING: Columns = {
    "plot": ("plot", None),
    "census": ("census", None),
    "carbon_t_ha": ("carbon Mg C/ha", 1),
    "measuring_low_t_ha": ("95 % from", 1),
    "measuring_high_t_ha": ("to", 1),
    "co2_t_ha_year": ("CO2 t/ha/year", 2),
    "co2_measuring_low_t_ha_year": ("95 % from", 2),
    "co2_measuring_high_t_ha_year": ("to", 2),
}
MEASURING_ALONE = "The same, by measuring alone: the equations taken for right"
CHANGE: Columns = {
    "plot": ("plot", None),
    "from_census": ("from", None),
    "to_census": ("to", None),
    "at_first": ("first", 4),
    "survivor_growth": ("survivor growth", 4),
    "ingrowth": ("new", 4),
    "found_again": ("found again", 4),
    "scope": ("area or smallest size", 4),
    "mortality": ("died", 4),
    "cut": ("cut", 4),
    "lost": ("not found", 4),
    "unmeasured": ("not measured", 4),
    "net": ("net", 4),
    "at_second": ("second", 4),
}
RATES_A_YEAR: Columns = {
    "mortality_year": ("mortality /year", 4),
    "mortality_low": ("95 % from", 4),
    "mortality_high": ("to", 4),
    "recruitment_year": ("recruitment /year", 4),
    "recruitment_low": ("95 % from", 4),
    "recruitment_high": ("to", 4),
    "why": ("", None),
}
RATES: Columns = {
    "plot": ("plot", None),
    "from_census": ("from", None),
    "to_census": ("to", None),
    "years": ("years", 2),
    "at_risk": ("stems", 0),
    "died": ("died", 1),
    "late": ("found late", 1),
    "recruits": ("new", 0),
    "cut": ("cut", 0),
    "lost": ("not found", 0),
    **RATES_A_YEAR,
}

COMPOSITION: Columns = {
    "census": ("census", None),
    "species": ("species", None),
    "stems": ("stems", 0),
    "basal_area_m2_ha": ("basal area m²/ha", 2),
    "share_percent": ("share, %", 1),
}
LEFT_OUT: Columns = {
    "tag": ("tag", None),
    "stem": ("stem", None),
    "species": ("species", None),
    "why": ("why", None),
    "first": ("first census", None),
    "last": ("last census", None),
}
GAPS: Columns = {
    "census": ("census", None),
    "species": ("species", None),
    "why": ("why", None),
    "stems": ("stems", 0),
    "basal_area_percent": ("of basal area, %", 1),
    "carbon_low_kg": ("carbon kg, lightest equation", 0),
    "carbon_high_kg": ("heaviest", 0),
}


def plot_page(analysis: Analysis, plot: str, foot: str = "") -> tuple[str, dict[str, Drawing]]:
    """The page of ``plot`` and its figures by name; ``foot`` is its last paragraph."""
    own = {name: _of(table, plot) for name, table in analysis.tables.items()}
    figures = _figures(analysis, own, plot)
    parts = [
        '<p><a href="index.html">All plots</a></p>',
        heading(f"Plot {plot}", 1),
        paragraph(_described(analysis, plot)),
        *(paragraph(told) for told in _changed(own["summary"])),
        contents(),
        heading("The stand"),
        grid(own["summary"], _without_plot(STAND), "The stand at each census"),
        heading("Figures"),
    ]
    captions = {
        "diameters": "Live stems by diameter class and census.",
        "composition": "Basal area by species at each census.",
        "growth": "Mean annual diameter growth with 95 % interval of the mean; a line spans the "
        "years between two censuses.",
        "carbon": "Carbon in above-ground dry mass, with its 95 % interval.",
        "change": "Components of change of basal area between censuses.",
        "fluxes": "Basal area that came and went, a hectare and year.",
        "mortality": "Mortality and recruitment, with 95 % interval.",
        "measured": "What was measured when: one row a stem, one column a census.",
    }
    parts += [picture(figures[name], words) for name, words in captions.items() if name in figures]
    parts.append(heading("Tables"))
    for name, columns, caption in (
        ("growth", GROWTH, "Growth of stems measured at both censuses"),
        ("change_basal_area", CHANGE, "Components of change, m² of basal area"),
        ("carbon", CARBON, "Carbon and CO2, above ground"),
        ("carbon", MEASURING, MEASURING_ALONE),
        ("rates", RATES, "Annual rates"),
        ("composition", COMPOSITION, "Species at each census"),
    ):
        if len(own[name]):
            parts.append(grid(own[name], _without_plot(columns), caption))
    if len(own["left_out"]):
        parts.append(grid(own["left_out"], LEFT_OUT, "Stems left out of carbon"))
        parts.append(grid(own["species_gaps"], GAPS, "What the stems left out would change"))
    if foot:
        parts.append(paragraph(foot, "colophon"))
    return page(f"Plot {plot}", parts), figures


def _of(table: pd.DataFrame, plot: str) -> pd.DataFrame:
    if "plot" not in table.columns:
        return table
    return table[(table["plot"] == plot).to_numpy(dtype=bool)].reset_index(drop=True)


def _without_plot(columns: Columns) -> Columns:
    return {name: told for name, told in columns.items() if name != "plot"}


def _described(analysis: Analysis, plot: str) -> str:
    rows = analysis.plots[analysis.plots["plot"] == plot]
    if rows.empty:
        return "Nothing is told of this plot's area or treatment."
    row = rows.iloc[0]
    area = "of unknown area" if pd.isna(row["area_ha"]) else f"{row['area_ha']:g} ha"
    unit = "inches" if row["unit"] == "in" else "centimetres"
    treatment = f", treatment {row['treatment']}" if row["treatment"] else ""
    height = "" if pd.isna(row["breast_height_m"]) else f" at {row['breast_height_m']:.2f} m"
    facts = [row.get("site", ""), row.get("shape", "")]
    facts += [f"kept since {row['established']}"] if row.get("established") else []
    painted = {"yes": "height of measurement painted", "no": "height of measurement not painted"}
    facts += [painted[row["paint_line"]]] if row.get("paint_line") in painted else []
    told = ", ".join(str(fact) for fact in facts if fact)
    about = f" {told[:1].upper()}{told[1:]}." if told else ""
    return f"{area}, measured in {unit}{height}{treatment}.{about}"


def _changed(summary: pd.DataFrame) -> list[str]:
    """What held at which censuses, where the plot's area or treatment changed; a sentence each."""
    told = []
    for name, what, unit in (("area_ha", "Area", " ha"), ("treatment", "Treatment", "")):
        values = [
            "not known"
            if pd.isna(value) or value == ""
            else f"{value:g}{unit}"
            if unit
            else str(value)
            for value in summary[name]
        ]
        if len(set(values)) > 1:
            labels = summary["label"].astype(str)
            runs = [
                (value, [label for label, _ in run])
                for value, run in groupby(zip(labels, values, strict=True), itemgetter(1))
            ]
            each = [
                f"{value} in {days[0]}" + (f" to {days[-1]}" if len(days) > 1 else "")
                for value, days in runs
            ]
            told.append(f"{what} by census: {'; '.join(each)}.")
    return told


def _figures(analysis: Analysis, own: dict[str, pd.DataFrame], plot: str) -> dict[str, Drawing]:
    figures = {}
    if len(own["diameter_classes"]):
        figures["diameters"] = diameter_distribution(own["diameter_classes"])
    if len(own["growth_by_plot_and_year"]):
        figures["growth"] = growth_by_year(own["growth_by_plot_and_year"])
    if own["carbon"]["carbon_kg"].notna().any():
        figures["carbon"] = carbon_through_time(own["carbon"].dropna(subset=["carbon_kg"]))
    if len(own["change_basal_area"]):
        figures["change"] = change_components(own["change_basal_area"], "basal area, m²")
    if len(own["composition"]):
        figures["composition"] = composition(own["composition"])
    flowing = own["fluxes"][own["fluxes"]["pool"] == "basal_area_m2"]
    if flowing["net"].notna().any():
        figures["fluxes"] = fluxes_between(flowing.dropna(subset=["net"]), "m² ha⁻¹ year⁻¹")
    if own["rates"]["mortality_year"].notna().any():
        figures["mortality"] = rates_through_time(own["rates"].dropna(subset=["mortality_year"]))
    figures["measured"] = measured_when(_of(analysis.stems, plot))
    return figures
