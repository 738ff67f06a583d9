"""Writes the report: a summary page, a page a plot, the figures as PNG, the tables as CSV.

Every page holds its figures in itself and needs no network. Words and layout only.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from callout.journal.files import storage_errors
from callout.reports.exchange.cells import frame_csv
from callout.reports.figures.stand import carbon_through_time, growth_by_year
from callout.reports.figures.survey import measured_again
from callout.reports.pages.analysis import COMPARED, Analysis
from callout.reports.pages.html import (
    bullets,
    grid,
    heading,
    number,
    page,
    paragraph,
    picture,
    text,
)
from callout.reports.pages.methods import limits, methods
from callout.reports.pages.plot_page import CARBON, CHANGE, GROWTH, RATES, STAND, Columns, plot_page

PERIODS: Columns = {
    "years": ("years", None), "stems": ("stems", 0), "diameter_cm_year": ("growth cm/year", 3),
    "plots": ("plots", 0), "anomaly_cm_year": ("off the mean", 3), "low": ("95 % from", 3),
    "high": ("to", 3), "p_corrected": ("p, corrected", 3), "judged": ("period was", None),
    "why": ("", None),
}  # fmt: skip
HEIGHTS: Columns = {
    "plot": ("plot", None), "census": ("census", None),
    "as_measured_m2": ("basal area as measured, m²", 4),
    "at_one_height_m2": ("at one height, m²", 4), "change_percent": ("change %", 2),
    "change_low_percent": ("95 % from", 2), "change_high_percent": ("to", 2),
}  # fmt: skip
SITE_GROWTH: Columns = {
    "from_census": ("from", None), "to_census": ("to", None), "plots": ("plots", 0),
    "mean": ("diameter cm/year", 3), "low": ("95 % from", 3), "high": ("to", 3), "why": ("", None),
}  # fmt: skip
SITE_CARBON: Columns = {
    "census": ("census", None), "plots": ("plots", 0), "mean_t_ha": ("carbon t/ha", 1),
    "low_t_ha": ("95 % from", 1), "high_t_ha": ("to", 1), "why": ("", None),
}  # fmt: skip
FLUXES: Columns = {
    "plot": ("plot", None), "from_census": ("from", None), "to_census": ("to", None),
    "pool": ("of", None), "growth": ("growth", 3), "ingrowth": ("ingrowth", 3),
    "mortality": ("mortality", 3), "cut": ("cut", 3), "not_followed": ("not followed", 3),
    "scope": ("area or smallest size", 3), "net": ("net", 3), "why": ("", None),
}  # fmt: skip
PARTS: Columns = {
    "plot": ("plot", None), "census": ("census", None), "deviation_percent": ("deviation, %", 1),
    "reading": ("reading", 2), "large": ("large errors", 2), "rounding": ("rounding", 2),
    "crew": ("crew", 2), "taper": ("height", 2), "tree": ("single trees", 2),
    "equation": ("equations", 2),
}  # fmt: skip
MEANS: Columns = {
    "treatment": ("treatment", None), "period": ("period", None), "plots": ("plots", 0),
    "mean": ("mean", 2), "low": ("95 % from", 2), "high": ("to", 2),
}  # fmt: skip
EFFECTS: Columns = {
    "treatment": ("treatment", None), "design": ("compared by", None), "plots": ("plots", 0),
    "control_plots": ("control plots", 0), "effect": ("effect", 2), "low": ("95 % from", 2),
    "high": ("to", 2), "freedom": ("degrees of freedom", 0), "told": ("in words", None),
}  # fmt: skip
CLIMATE: Columns = {
    "group": ("of", None), "figure": ("climate figure", None), "season": ("season", None),
    "lag": ("years before", 0), "n": ("periods", 0), "r": ("r", 2), "low": ("95 % from", 2),
    "high": ("to", 2), "p_corrected": ("p, corrected", 3), "told": ("in words", None),
}  # fmt: skip

VISITS: Columns = {
    "plot": ("plot", None), "label": ("census", None), "first_day": ("from", None),
    "last_day": ("to", None), "measured": ("measured", 0), "dead": ("dead", 0), "cut": ("cut", 0),
    "lost": ("not found", 0), "who": ("called by", None),
}  # fmt: skip


def write_report(analysis: Analysis, folder: Path) -> Path:
    """Write everything into ``folder`` (made if need be); returns the summary page's path."""
    names = plot_files(analysis)
    pages, figures = {}, {}
    for plot, name in names.items():
        pages[f"{name}.html"], drawn = plot_page(analysis, plot)
        figures.update({f"{name}-{kind}.png": data for kind, data in drawn.items()})
    summary, drawn = _summary(analysis, names)
    pages["index.html"] = summary
    figures.update({f"all-{kind}.png": data for kind, data in drawn.items()})
    with storage_errors(f"cannot write the report into {folder}"):
        for part in ("tables", "figures"):
            (folder / part).mkdir(parents=True, exist_ok=True)
        for name, words in pages.items():
            (folder / name).write_text(words, encoding="utf-8")
        for name, data in figures.items():
            (folder / "figures" / name).write_bytes(data)
        for name, table in analysis.tables.items():
            data = frame_csv(table).encode("utf-8")
            (folder / "tables" / f"{name}.csv").write_bytes(data)
    return folder / "index.html"


def plot_files(analysis: Analysis) -> dict[str, str]:
    """A file name for each plot: its own name where that is plain, with a number where not."""
    names: dict[str, str] = {}
    for at, plot in enumerate(sorted(analysis.stems["plot"].unique()), 1):
        plain = re.sub(r"[^A-Za-z0-9_-]+", "-", str(plot)).strip("-")[:40]
        name = f"plot-{plain}"
        if plain != plot or name.casefold() in {item.casefold() for item in names.values()}:
            name = f"plot-{at}-{plain}"
        names[str(plot)] = name
    return names


def _summary(analysis: Analysis, names: dict[str, str]) -> tuple[str, dict[str, bytes]]:
    settings, tables = analysis.settings, analysis.tables
    figures = _figures(analysis)
    links = ", ".join(f'<a href="{name}.html">{text(plot)}</a>' for plot, name in names.items())
    parts = [
        heading(settings.title, 1),
        paragraph(f"Report made {settings.made}." if settings.made else "Report of measurements."),
        f"<p>Plots: {links}.</p>",
        bullets(_findings(tables)),
        bullets(analysis.cautions, "caution"),
        heading("The stand"),
        grid(_last(tables["summary"]), STAND, "Each plot at its last census"),
        heading("What was measured when"),
        grid(tables["censuses"], VISITS, "Censuses; each plot's page has its stems one by one"),
    ]
    parts += _section(tables, "growth", GROWTH, "Growth", "Stems measured at both censuses")
    if len(tables["growth_site"]):
        parts.append(grid(tables["growth_site"], SITE_GROWTH, "All plots, the plot as the unit"))
    if "growth" in figures:
        words = (
            "Mean annual diameter growth by species, all plots, with 95 % interval; a line spans "
            "years that were not measured singly."
        )
        parts.append(picture(figures["growth"], words))
    parts += _section(
        tables, "periods", PERIODS, "Good and bad years", "Growth between censuses, all species"
    )
    parts += _section(
        tables, "climate", CLIMATE, "Climate", "Growth and climate, both without their trend"
    )
    parts += _section(
        tables,
        "change_basal_area",
        CHANGE,
        "What changed",
        "Components of change, m² of basal area",
    )
    parts += _section(tables, "fluxes", FLUXES, "Fluxes", "A hectare and year; they add up to net")
    parts += _section(tables, "rates", RATES, "Mortality and recruitment", "Annual rates")
    parts += [heading("Carbon"), grid(tables["carbon"], CARBON, "Carbon and CO2, above ground")]
    if len(tables["carbon_site"]):
        parts.append(grid(tables["carbon_site"], SITE_CARBON, "All plots, the plot as the unit"))
    parts.append(grid(tables["carbon_parts"], PARTS, "What the uncertainty is made of, shares"))
    if "carbon" in figures:
        words = "Carbon in above-ground dry mass, with Monte Carlo interval."
        parts.append(picture(figures["carbon"], words))
    parts += _treatment_parts(tables)
    parts.append(heading("How good the measuring is"))
    parts.append(paragraph(f"Measurement error is taken from: {analysis.error.source}."))
    if "again" in figures:
        words = "Stems measured twice within 60 days: second less first."
        parts.append(picture(figures["again"], words))
    parts += _section(tables, "one_height", HEIGHTS, "One height", "Effect of the taper")
    parts += [heading("Methods and sources"), bullets(methods(analysis))]
    parts += [heading("What this is not"), bullets(limits(analysis))]
    parts.append(paragraph("Every table is in the folder tables, every figure in figures."))
    return page(settings.title, parts), figures


def _figures(analysis: Analysis) -> dict[str, bytes]:
    tables, figures = analysis.tables, {}
    if len(tables["growth_by_year"]):
        figures["growth"] = growth_by_year(tables["growth_by_year"])
    carbon = tables["carbon"].dropna(subset=["carbon_kg"])
    if len(carbon) and carbon["plot"].nunique() <= 8:
        figures["carbon"] = carbon_through_time(carbon)
    if len(tables["measured_again"]):
        figures["again"] = measured_again(tables["measured_again"], analysis.error)
    return figures


def _section(
    tables: Mapping[str, pd.DataFrame],
    name: str,
    columns: dict[str, tuple[str, int | None]],
    head: str,
    caption: str,
) -> list[str]:
    table = tables.get(name)
    if table is None or table.empty:
        return []
    return [heading(head), grid(table, columns, caption)]


def _treatment_parts(tables: Mapping[str, pd.DataFrame]) -> list[str]:
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
    if parts and "treatment_effects" not in tables:
        parts.append(paragraph("No treatment is named as the control: give --control."))
    return [heading("Treatment and control"), *parts] if parts else []


def _last(summary: pd.DataFrame) -> pd.DataFrame:
    return summary.groupby("plot", observed=True, sort=True).tail(1).reset_index(drop=True)


def _findings(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """The chief findings of each plot, a sentence each: first to last census, a hectare."""
    told = []
    carbon, summary = tables["carbon"], tables["summary"]
    for plot, rows in summary.groupby("plot", observed=True):
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
                f"; since the census before, CO2 held changed by "
                f"{number(row['co2_t_ha_year'], 1)} t a hectare and year (95 % interval "
                f"{number(row['co2_low_t_ha_year'], 1)} to {number(row['co2_high_t_ha_year'], 1)})"
            )
        told.append(words + ".")
    return told[:20]
