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
from callout.reports.pages.analysis import Analysis
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
    "standardised": ("deviations from mean", 2), "judged": ("period was", None),
}  # fmt: skip
HEIGHTS: Columns = {
    "plot": ("plot", None), "census": ("census", None),
    "as_measured_m2": ("basal area as measured, m²", 4),
    "at_one_height_m2": ("at one height, m²", 4), "change_percent": ("change %", 2),
}  # fmt: skip
TREATMENTS: Columns = {
    "census": ("census", None), "from_census": ("from", None), "to_census": ("to", None),
    "treatment": ("treatment", None), "plots": ("plots", 0),
    "mean": ("mean", 2), "standard_error": ("standard error", 2),
    "difference": ("less control", 2), "difference_error": ("its standard error", 2),
}  # fmt: skip
CLIMATE: Columns = {
    "figure": ("climate figure", None), "n": ("periods", 0), "r": ("r", 2), "low": ("95 % from", 2),
    "high": ("to", 2), "caveat": ("caveat", None),
}  # fmt: skip

VISITS: Columns = {
    "plot": ("plot", None), "census": ("census", None), "first_day": ("from", None),
    "last_day": ("to", None), "measured": ("measured", 0), "dead": ("dead", 0), "cut": ("cut", 0),
    "lost": ("not found", 0), "who": ("called by", None),
}  # fmt: skip
# What treatments are compared in: its words, and the decimals that make sense.
COMPARED = {
    "basal_area_m2_ha": ("Basal area, m² a hectare", 2),
    "qmd_cm": ("Quadratic mean diameter, cm", 1),
    "diameter_cm_year": ("Diameter growth, cm a year", 3),
}


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
        grid(tables["visits"], VISITS, "Visits; each plot's page has its stems one by one"),
    ]
    parts += _section(tables, "growth", GROWTH, "Growth", "Stems measured at both censuses")
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
        tables, "climate", CLIMATE, "Climate", "Correlation of growth with the mean of each figure"
    )
    parts += _section(
        tables,
        "change_basal_area",
        CHANGE,
        "What changed",
        "Components of change, m² of basal area",
    )
    parts += _section(tables, "rates", RATES, "Mortality and recruitment", "Annual rates")
    parts += [heading("Carbon"), grid(tables["carbon"], CARBON, "Carbon and CO2, above ground")]
    if "carbon" in figures:
        words = "Carbon in above-ground dry mass, with Monte Carlo interval."
        parts.append(picture(figures["carbon"], words))
    parts += _treatment_parts(tables)
    parts.append(heading("How good the measuring is"))
    parts.append(paragraph(f"Measurement error is taken from: {analysis.error.source}."))
    if "again" in figures:
        words = "Stems measured twice within 60 days: second less first."
        parts.append(picture(figures["again"], words))
    parts += _section(tables, "one_height", HEIGHTS, "One height", "Effect of the taper assumption")
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
    fewest = 2
    for figure, (words, places) in COMPARED.items():
        columns = {
            name: (head, places if name not in ("plots",) and shown is not None else shown)
            for name, (head, shown) in TREATMENTS.items()
        }
        for start, caption in (
            ("treatments_", f"{words}: mean of the plots of each treatment"),
            ("against_control_", f"{words}: each treatment less the control"),
        ):
            table = tables.get(start + figure)
            if table is not None and len(table):
                parts.append(grid(table, columns, caption))
                fewest = min(fewest, int(table["plots"].min()))
    if parts and fewest < 2:
        parts.append(
            paragraph(
                "A treatment with one plot has no error: its difference cannot be told from that "
                "between any two plots."
            )
        )
    return [heading("Treatment and control"), *parts] if parts else []


def _last(summary: pd.DataFrame) -> pd.DataFrame:
    return summary.groupby("plot", observed=True, sort=True).tail(1).reset_index(drop=True)


def _findings(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """The chief findings of each plot, a sentence each."""
    told = []
    carbon = tables["carbon"]
    for plot, rows in tables["change_basal_area"].groupby("plot", observed=True):
        first, last = rows.iloc[0], rows.iloc[-1]
        start, end = float(first["at_first"]), float(last["at_second"])
        if start <= 0:
            continue
        change = number(100 * (end / start - 1), 1)
        words = (
            f"{plot}: from {first['from_census']} to {last['to_census']} basal area of live stems "
            f"changed by {change} %"
        )
        latest = carbon[(carbon["plot"] == plot) & carbon["co2_t_ha_year"].notna()].tail(1)
        if len(latest):
            row = latest.iloc[0]
            words += (
                f"; since the census before, CO2 held changed by "
                f"{number(row['co2_t_ha_year'], 1)} t a hectare and year (95 % interval "
                f"{number(row['co2_low_t_ha_year'], 1)} to {number(row['co2_high_t_ha_year'], 1)})"
            )
        told.append(words + ".")
    return told[:20]
