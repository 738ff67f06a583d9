"""The stand's tables by plot for measurements of any number: some plots at a time, on all cores.

The same figures as in a report of all at once: only the years of censuses need every plot, and they
are settled between two passes. Memory holds the measurements, about 50 bytes each, and a part.
"""

from __future__ import annotations

import multiprocessing
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.pages.stand_tables import (
    NONE_YET,
    StandBasis,
    heights_of,
    tables_by_plot,
    tables_over_plots,
)
from callout.reports.stand.census import Ints, codes_of, unsettled, with_aside
from callout.reports.stand.columns import MEASUREMENT_COLUMNS, STEM, check_measurements
from callout.reports.stand.corrected import corrected
from callout.reports.stand.dynamics.growth import increments
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import one_species
from callout.reports.stand.taper import Taper
from callout.reports.stand.visits import runs_of, years_of

ROWS_A_PART = 500_000
_ALONE = 500_000  # rows that one process computes sooner than others start
_NEEDED = (
    *MEASUREMENT_COLUMNS,
    "graduation",
    "rounding",
    "raw_unit",
    "warnings",
    "disagrees",
    "census_told",
    "who",
)
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Terms:
    """What the tables depend on beside the measurements; see ``ReportSettings``."""

    basis_m: float | None
    class_width_cm: float
    rounding: str
    taper: Taper
    taper_sd: float


@dataclass(frozen=True)
class Part:
    """Some plots' measurements (their rows are ``start`` to ``stop`` of a file) and their facts.

    ``named``: whether rows name their censuses.
    """

    path: Path
    start: int
    stop: int
    named: bool
    plots: pd.DataFrame
    history: pd.DataFrame | None
    terms: Terms


def tables_in_parts(
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    history: pd.DataFrame | None,
    terms: Terms,
    tell: Tell = lambda words, done, of: None,
    rows_a_part: int = ROWS_A_PART,
) -> tuple[dict[str, pd.DataFrame], dict[str, float]]:
    """The tables by plot and over plots, and each plot's height of measurement.

    Raises OperatorError for frames without any live diameter, and as the computations do.
    """
    check_measurements(measurements)
    if measurements.empty:
        raise OperatorError(NONE_YET)
    with tempfile.TemporaryDirectory(prefix="callout-") as folder, _workers(measurements) as work:
        parts = _parts(measurements, plots, history, terms, Path(folder) / "rows", rows_a_part)
        runs = list(work(_runs, parts))
        years = _years(runs)
        made: list[dict[str, pd.DataFrame]] = []
        heights: dict[str, float] = {}
        for at, (tables, own) in enumerate(work(_tables, parts, years), 1):
            tell("plots", at, len(parts))
            made.append(tables)
            heights |= own
    whole = {name: _joined([tables[name] for tables in made]) for name in made[0]}
    if not whole["summary"]["stems"].any():
        raise OperatorError(NONE_YET)
    by_year = whole["growth_by_plot_and_year"]
    whole["growth_by_plot_and_year"] = by_year.sort_values(
        ["year", "plot", "species"], ignore_index=True
    )
    return whole | tables_over_plots(whole), heights


@contextmanager
def _workers(measurements: pd.DataFrame) -> Iterator[Callable[..., Iterator[Any]]]:
    """A ``map`` that runs here for few rows, else in a process for each core."""
    cores = os.cpu_count() or 1
    if len(measurements) <= _ALONE or cores < 2:
        yield map
        return
    # Spawned, since libraries here have threads of their own that a fork would break.
    spawned = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(cores, mp_context=spawned) as pool:
        yield pool.map


def _parts(
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    history: pd.DataFrame | None,
    terms: Terms,
    path: Path,
    rows_a_part: int,
) -> list[Part]:
    """Write the rows to a file, plot by plot, and cut it between plots."""
    import pyarrow
    from pyarrow import feather

    code, names = pd.factorize(measurements["plot"], sort=True)
    order = np.argsort(code, kind="stable")
    kept = measurements[[name for name in _NEEDED if name in measurements.columns]].iloc[order]
    told = kept["value"].notna()  # decimals cannot travel so, and no table by plot shows them
    rows = pyarrow.Table.from_pandas(kept.assign(value=told), preserve_index=False)
    feather.write_feather(rows, str(path), compression="uncompressed")
    ends = np.cumsum(np.bincount(code, minlength=len(names)))
    groups = np.r_[0, ends[:-1]] // rows_a_part
    parts = []
    for group in np.unique(groups):
        own = np.flatnonzero(groups == group)
        among = [str(name) for name in names[own]]
        start = int(ends[own[0] - 1]) if own[0] else 0
        parts.append(
            Part(
                path,
                start,
                int(ends[own[-1]]),
                "census_told" in kept.columns,
                plots[plots["plot"].astype(str).isin(among)].reset_index(drop=True),
                None
                if history is None
                else history[history["plot"].astype(str).isin(among)].reset_index(drop=True),
                terms,
            )
        )
    return parts


def _rows_of(part: Part, columns: Sequence[str] | None = None) -> pd.DataFrame:
    """The part's measurements."""
    from pyarrow import feather

    table = feather.read_table(str(part.path), columns=columns, memory_map=True)
    rows = table.slice(part.start, part.stop - part.start).to_pandas()
    for name in rows.columns:
        if isinstance(rows[name].dtype, pd.CategoricalDtype):
            rows[name] = rows[name].cat.remove_unused_categories()
    return rows


def _runs(part: Part) -> pd.DataFrame:
    """The runs of days of the part's plots."""
    rows = _rows_of(part, [*STEM, "date", *(["census_told"] if part.named else [])])
    return runs_of(rows, codes_of(rows, STEM)).table


def _years(runs: Sequence[pd.DataFrame]) -> list[Ints]:
    """The years of each part's runs, by those of all."""
    before, tables = 0, []
    for table in runs:
        tables.append(table.assign(plot=table["plot"] + before))
        before += len(table)  # no fewer than its plots
    years = years_of(pd.concat(tables, ignore_index=True))
    return np.split(years, np.cumsum([len(table) for table in runs])[:-1])


def _tables(part: Part, years: Ints) -> tuple[dict[str, pd.DataFrame], dict[str, float]]:
    terms, facts = part.terms, PlotFacts(part.plots, part.history)
    rows = corrected(_rows_of(part), facts, terms.rounding)
    stems, aside = with_aside(rows, years)
    stems, renamed = one_species(stems)
    heights = heights_of(stems, terms.basis_m)
    tables = tables_by_plot(
        stems,
        increments(stems[~unsettled(stems)]),
        facts,
        StandBasis(heights, terms.taper, terms.taper_sd),
        terms.class_width_cm,
    )
    return {**tables, "set_aside": aside, "reidentified": renamed}, heights


def _joined(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """One table of all parts' rows; categories of each part become texts."""
    texts = [
        table.astype(dict.fromkeys(table.select_dtypes("category").columns, object))
        for table in tables
    ]
    filled = [table for table in texts if len(table)] or texts[:1]
    return pd.concat(filled, ignore_index=True)
