"""The page of all plots: what was found, table by table and figure by figure.

Its figures are inside it; it needs no network. Words and layout only; ``writing`` writes it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from callout.reports.figures.changes import composition, rates_through_time, treatments
from callout.reports.figures.stand import carbon_through_time, growth_by_year
from callout.reports.figures.style import Drawing
from callout.reports.figures.survey import measured_again
from callout.reports.pages.analysis import COMPARED, Analysis
from callout.reports.pages.html import (
    bullets,
    contents,
    grid,
    heading,
    links,
    number,
    page,
    paragraph,
    picture,
)
from callout.reports.pages.methods import limits, methods, references
from callout.reports.pages.plot_page import (
    CARBON,
    CHANGE,
    GROWTH,
    MEASURING,
    MEASURING_ALONE,
    RATES,
    STAND,
    Columns,
)
from callout.reports.pages.summary_columns import (
    CLIMATE,
    EFFECTS,
    FLUXES,
    HEIGHTS,
    MEANS,
    PARTS,
    PERIODS,
    PLOTS,
    POOLS,
    SITE_CARBON,
    SITE_GROWTH,
    SITE_RATES,
    VISITS,
)

MOST_ROWS = 120  # rows of a table on the page
MOST_FINDINGS = 20  # plots whose main findings are listed


def summary_page(
    analysis: Analysis, names: Mapping[str, str], foot: str
) -> tuple[str, dict[str, Drawing]]:
    """The page of all plots and its figures by name.

    ``names`` are the files of the plots that have a page of their own, ``foot`` the last paragraph.
    """
    settings, tables = analysis.settings, analysis.tables
    figures = _figures(analysis)
    parts = [
        heading(settings.title, 1),
        paragraph(f"Report made {settings.made}." if settings.made else "Report of measurements."),
        contents(),
        heading("Findings"),
        bullets(_findings(tables)),
        bullets(analysis.cautions, "caution"),
        *_plot_parts(analysis, names),
        *_shown(tables, "summary", STAND, "The stand", "Each plot at its last census", _last),
        *_drawn(figures, "composition"),
        heading("What was measured when"),
        *_grid(tables["censuses"], VISITS, "Censuses; each plot's page has its stems one by one"),
        *_shown(tables, "growth", GROWTH, "Growth", "Stems measured at both censuses"),
        *_grid(tables["growth_site"], SITE_GROWTH, "All plots, the plot as the unit"),
        *_drawn(figures, "growth"),
        *_shown(
            tables, "periods", PERIODS, "Good and bad years", "Growth between censuses, all species"
        ),
        *_shown(tables, "climate", CLIMATE, "Climate", "Growth and climate, both without trend"),
        *_shown(
            tables,
            "change_basal_area",
            CHANGE,
            "What changed",
            "Components of change, m² of basal area",
        ),
        *_shown(
            tables,
            "fluxes",
            FLUXES,
            "Fluxes",
            "A hectare and year; they add up to net",
            lambda table: table.assign(pool=table["pool"].astype(str).replace(POOLS)),
        ),
        *_shown(tables, "rates", RATES, "Mortality and recruitment", "Annual rates"),
        *_grid(tables["rates_site"], SITE_RATES, "All plots, the plot as the unit"),
        *_drawn(figures, "mortality"),
        heading("Carbon"),
        paragraph(
            "One tonne (t) is one megagram (Mg): carbon in Mg C ha\N{SUPERSCRIPT MINUS}"
            "\N{SUPERSCRIPT ONE} is the same figure as in t a hectare."
        ),
        *_grid(tables["carbon"], CARBON, "Carbon and CO2, above ground"),
        *_grid(tables["carbon"], MEASURING, MEASURING_ALONE),
        *_grid(tables["carbon_site"], SITE_CARBON, "All plots, the plot as the unit"),
        *_grid(tables["carbon_parts"], PARTS, "What the uncertainty is made of, shares"),
        *_drawn(figures, "carbon"),
        *_treatment_parts(tables, figures),
        heading("How good the measuring is"),
        paragraph(f"Measurement error is taken from: {analysis.error.source}."),
        *_drawn(figures, "again"),
        *_shown(tables, "one_height", HEIGHTS, "One height", "Effect of the taper"),
        heading("Methods and sources"),
        bullets(methods(analysis)),
        heading("References"),
        bullets(references(analysis)),
        heading("What this is not"),
        bullets(limits(analysis)),
        paragraph(
            "Every table is in the folder tables (dictionary.csv tells what each column means), "
            "every figure in figures; report.json holds settings and the data's fingerprint."
        ),
        paragraph(foot, "colophon"),
    ]
    return page(settings.title, parts), figures


CAPTIONS = {
    "composition": "Basal area by species, all plots together.",
    "growth": "Mean annual diameter growth by species, all plots, with 95 % interval; a line spans "
    "years that were not measured singly.",
    "mortality": "Mortality and recruitment of all plots, the plot as the unit.",
    "carbon": "Carbon in above-ground dry mass, with its interval.",
    "again": "Stems measured twice within 60 days: second minus first.",
}


def _figures(analysis: Analysis) -> dict[str, Drawing]:
    tables, figures = analysis.tables, {}
    if len(tables["growth_by_year"]):
        figures["growth"] = growth_by_year(tables["growth_by_year"])
    carbon = tables["carbon"].dropna(subset=["carbon_kg"])
    if len(carbon) and carbon["plot"].nunique() <= 8:
        figures["carbon"] = carbon_through_time(carbon)
    if len(tables["measured_again"]):
        figures["again"] = measured_again(tables["measured_again"], analysis.error)
    if tables["rates_site"]["mortality_year"].notna().any():
        figures["mortality"] = rates_through_time(tables["rates_site"])
    if len(tables["composition"]):
        keys = ["census", "species"]
        whole = tables["composition"].groupby(keys, observed=True)["basal_area_m2"].sum()
        figures["composition"] = composition(whole.reset_index().assign(basal_area_m2_ha=np.nan))
    means = tables.get("treatment_means")
    for name, own in () if means is None else means.groupby("figure", observed=True):
        if name in COMPARED:
            figures[f"treatments_{name}"] = treatments(own, COMPARED[str(name)].words)
    return figures


def _drawn(figures: Mapping[str, Drawing], name: str) -> list[str]:
    return [picture(figures[name], CAPTIONS[name])] if name in figures else []


def _plot_parts(analysis: Analysis, names: Mapping[str, str]) -> list[str]:
    """A description of each plot, and a link to its page."""
    shown = analysis.plots.assign(
        unit=analysis.plots["unit"].map({"in": "inches", "cm": "centimetres"}).fillna("")
    )
    parts = [heading("Plots"), *_grid(shown, PLOTS, "Plots with treatment")]
    if names:
        parts.append(links("Pages: ", {plot: f"{name}.html" for plot, name in names.items()}))
    else:
        parts.append(paragraph("No plot has a page of its own here: ask with --plot NAME."))
    return parts


def _grid(table: pd.DataFrame, columns: Columns, caption: str) -> list[str]:
    """A table, only its first rows if it is long; nothing if it is empty."""
    if table.empty:
        return []
    if len(table) > MOST_ROWS:
        caption += f" (the first {MOST_ROWS} of {len(table)} rows; all are in the folder tables)"
    return [grid(table.head(MOST_ROWS), columns, caption)]


def _shown(
    tables: Mapping[str, pd.DataFrame],
    name: str,
    columns: Columns,
    head: str,
    caption: str,
    cut: Callable[[pd.DataFrame], pd.DataFrame] = lambda table: table,
) -> list[str]:
    table = tables.get(name)
    if table is None or table.empty:
        return []
    return [heading(head), *_grid(cut(table), columns, caption)]


def _treatment_parts(
    tables: Mapping[str, pd.DataFrame], figures: Mapping[str, Drawing]
) -> list[str]:
    parts = []
    for name, compared in COMPARED.items():
        for table_name, columns, caption in (
            ("treatment_means", MEANS, "means of the plots of each treatment"),
            ("treatment_effects", EFFECTS, "each treatment against the control"),
        ):
            table = tables.get(table_name)
            own = table[table["figure"] == name] if table is not None else None
            if own is None or own.empty:
                continue
            shown = {
                column: (head, compared.places if places == 2 else places)
                for column, (head, places) in columns.items()
            }
            parts.append(grid(own, shown, f"{compared.words}: {caption}"))
        drawn = figures.get(f"treatments_{name}")
        if drawn is not None:
            words = f"{compared.words}: means of plots by treatment, with 95 % interval."
            parts.append(picture(drawn, words))
    if parts and "treatment_effects" not in tables:
        parts.append(paragraph("No treatment is named as the control: give --control."))
    return [heading("Treatment and control"), *parts] if parts else []


def _last(summary: pd.DataFrame) -> pd.DataFrame:
    return summary.groupby("plot", observed=True, sort=True).tail(1).reset_index(drop=True)


def _findings(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """The main findings of each plot, a sentence each: first to last census, per hectare."""
    told: list[str] = []
    carbon, summary = tables["carbon"], tables["summary"]
    for plot, rows in summary.groupby("plot", observed=True):
        if len(told) == MOST_FINDINGS:
            break
        first, last = rows.iloc[0], rows.iloc[-1]
        dense = rows["basal_area_m2_ha"].notna().all()
        changed = rows["area_ha"].nunique() > 1
        if len(rows) < 2 or not first["basal_area_m2"] > 0 or (changed and not dense):
            continue
        figure = "basal_area_m2_ha" if dense else "basal_area_m2"
        change = number(100 * (last[figure] / first[figure] - 1), 1)
        words = (
            f"{plot}: from {first['census']} to {last['census']} basal area of live stems "
            f"{'a hectare ' if changed else ''}changed by {change} %"
        )
        latest = carbon[(carbon["plot"] == plot) & (carbon["census"] == last["census"])]
        if latest["co2_t_ha_year"].notna().any():
            row = latest.iloc[0]
            words += (
                f"; since the census before, the CO2 held in the trees changed by "
                f"{number(row['co2_t_ha_year'], 1)} t a hectare and year (95 % interval "
                f"{number(row['co2_low_t_ha_year'], 1)} to {number(row['co2_high_t_ha_year'], 1)})"
            )
        told.append(words + ".")
    return told
