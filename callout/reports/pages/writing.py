"""Writes the report's files: summary, plots, figures, tables, and the record of their sources.

A plot is drawn, written and released before the next, so memory does not grow with plots. Words and
layout are elsewhere.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

import callout
from callout.core.errors import OperatorError
from callout.reports.exchange.cells import frame_csv, shown, told
from callout.reports.figures.style import FORMS, Drawing
from callout.reports.pages.analysis import Analysis, ReportSettings
from callout.reports.pages.colophon import colophon, settings_told
from callout.reports.pages.dictionary import dictionary, table_package
from callout.reports.pages.plot_page import plot_page
from callout.reports.pages.report import summary_page
from callout.reports.spreadsheets import guarded
from callout.survey.files import storage_errors

MOST_PAGES = 12  # plots that get a page by default
LONG_ROWS = 20_000  # a table this long is not read row by row
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Wanted:
    """Which plots get a page of their own, and in which formats figures are written.

    ``plots`` None: every plot of up to ``MOST_PAGES``, none of more.
    """

    plots: tuple[str, ...] | None = None
    forms: tuple[str, ...] = ("png",)

    def __post_init__(self) -> None:
        """Raises OperatorError for an unsupported figure format."""
        for form in self.forms:
            if form not in FORMS:
                raise OperatorError(f"no figures as {form!r}: there is {', '.join(FORMS)}")


def write_report(
    analysis: Analysis,
    folder: Path,
    data: str = "",
    wanted: Wanted | None = None,
    tell: Tell = lambda words, done, of: None,
) -> Path:
    """Write everything into ``folder`` (made if need be); returns the summary page's path.

    ``data`` is the data's fingerprint; ``tell`` is called with what is written, and how many of how
    many. Raises OperatorError for a plot that does not exist.
    """
    wanted = wanted or Wanted()
    names = _pages(plot_files(analysis), wanted)
    foot = colophon(analysis, data)
    with storage_errors(f"cannot write the report into {folder}"):
        (folder / "figures").mkdir(parents=True, exist_ok=True)
        for at, (plot, name) in enumerate(names.items(), 1):
            tell("plots", at, len(names))
            words, figures = plot_page(analysis, plot, foot)
            _write(folder, f"{name}.html", words, name, figures, wanted.forms)
        words, figures = summary_page(analysis, names, foot)
        _write(folder, "index.html", words, "all", figures, wanted.forms)
    write_tables(analysis.tables, analysis.settings, folder, data, tell)
    return folder / "index.html"


def write_tables(
    tables: Mapping[str, pd.DataFrame],
    settings: ReportSettings,
    folder: Path,
    data: str,
    tell: Tell = lambda words, done, of: None,
) -> Path:
    """Write the tables, what their columns mean, and what they were made from; their folder."""
    own = folder / "tables"
    with storage_errors(f"cannot write the report into {folder}"):
        own.mkdir(parents=True, exist_ok=True)
        for at, (name, table) in enumerate(tables.items(), 1):
            tell("tables", at, len(tables))
            write_table(own / f"{name}.csv", table)
        told = {
            "program": f"Callout {callout.__version__}",
            "data": f"sha256:{data}",
            "settings": settings_told(settings),
        }
        _write_json(folder / "report.json", told)
        _write_json(own / "datapackage.json", table_package(tables, settings.title))
        words = frame_csv(dictionary(tables))
        (own / "dictionary.csv").write_text(words, encoding="utf-8")
    return own


def write_table(path: Path, table: pd.DataFrame) -> None:
    """A table as CSV; a long one by columns, where numbers lose a ``.0`` and texts are quoted."""
    if len(table) < LONG_ROWS:
        path.write_bytes(frame_csv(table).encode("utf-8"))
        return
    import pyarrow
    from pyarrow import csv

    made = pyarrow.table({name: _column(pyarrow, table[name]) for name in table.columns})
    with path.open("wb") as file:
        csv.write_csv(made, file, csv.WriteOptions(quoting_style="needed"))


def _column(arrow: Any, column: pd.Series) -> Any:
    if column.dtype.kind in "fiu":
        return arrow.array(column.to_numpy(), from_pandas=True)
    if isinstance(column.dtype, pd.CategoricalDtype):
        words = [guarded(told(word)) for word in column.cat.categories]
        codes = arrow.array(column.cat.codes.to_numpy(), mask=column.isna().to_numpy())
        return arrow.DictionaryArray.from_arrays(codes, arrow.array(words, arrow.string()))
    return arrow.array(shown(column), arrow.string())


def _pages(names: Mapping[str, str], wanted: Wanted) -> dict[str, str]:
    if wanted.plots is None:
        return dict(names) if len(names) <= MOST_PAGES else {}
    strange = [plot for plot in wanted.plots if plot not in names]
    if strange:
        raise OperatorError(f"no plot {strange[0]!r} among those measured: {_some(list(names))}")
    return {plot: names[plot] for plot in wanted.plots}


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - 12} more" if len(names) > 12 else ""
    return f"there are {', '.join(names[:12])}{more}"


def _write(
    folder: Path,
    page: str,
    words: str,
    name: str,
    figures: Mapping[str, Drawing],
    forms: Sequence[str],
) -> None:
    (folder / page).write_text(words, encoding="utf-8")
    for kind, figure in figures.items():
        for form in forms:
            data = figure.png if form == "png" else figure.in_form(form)
            (folder / "figures" / f"{name}-{kind}.{form}").write_bytes(data)


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    text = json.dumps(content, ensure_ascii=False, indent=2)
    path.write_text(text + "\n", encoding="utf-8")


def plot_files(analysis: Analysis) -> dict[str, str]:
    """A file name for each plot: its own name if it is plain, else with a number."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for at, plot in enumerate(sorted(analysis.stems["plot"].unique()), 1):
        plain = re.sub(r"[^A-Za-z0-9_-]+", "-", str(plot)).strip("-")[:40]
        name = f"plot-{plain}"
        if plain != plot or name.casefold() in taken:
            name = f"plot-{at}-{plain}"
        taken.add(name.casefold())
        names[str(plot)] = name
    return names
