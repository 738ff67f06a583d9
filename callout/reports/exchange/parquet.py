"""Parquet files of everything an open form carries, and back.

The reading stays its exact text; ``diameter_cm`` beside it is a float for computing. What it cannot
hold: sounds, the journal, settings of checks and listening, and times finer than a microsecond.
Columns beyond those every frame has travel as text.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.exchange.cells import (
    MEANING,
    REPEATING,
    ROW_NAMES,
    WRITTEN,
    extra_columns,
    extra_plot_columns,
    measurements_from,
    plots_from,
    text_frame,
    texts,
)
from callout.reports.exchange.dataset import FURTHER_TABLES, Dataset
from callout.reports.exchange.metadata import About, about_from
from callout.reports.identities import identified
from callout.reports.stand.columns import PLOT_COLUMNS
from callout.survey.archives import LARGE, OF_STRANGERS, refuse_large
from callout.survey.files import storage_errors

NAMES = ("measurements.parquet", "plots.parquet")
_FLOATS = ("diameter_cm", "measured_height_m", "area_ha", "breast_height_m")


def write_parquet(folder: Path, data: Dataset, about: About) -> tuple[Path, Path]:
    """Write ``measurements.parquet``, ``plots.parquet`` and further tables into ``folder``."""
    parquet, arrow = _library()
    measurements = identified(data.measurements, about.title)
    tables = {
        NAMES[0]: measurements[[*WRITTEN, "diameter_cm", *extra_columns(measurements)]],
        NAMES[1]: data.plots[[*PLOT_COLUMNS, *extra_plot_columns(data.plots)]],
        **{f"{name}.parquet": table for name, table in data.further.items()},
    }
    notes = {b"about": json.dumps(about.plain).encode()}
    with storage_errors(f"cannot write into {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in tables.items():
            made = _arrow_table(arrow, table, typed=name in NAMES)
            parquet.write_table(made.replace_schema_metadata(notes), folder / name)
    return folder / NAMES[0], folder / NAMES[1]


def _library() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise OperatorError("Parquet needs pyarrow: pip install 'callout[reports]'") from None
    return pyarrow.parquet, pyarrow


def _arrow_table(arrow: Any, frame: pd.DataFrame, *, typed: bool) -> Any:
    fields, columns = [], []
    for name in frame.columns:
        kind: Any = arrow.string()
        cells: Any
        if typed and name == "date":
            kind = arrow.timestamp("us")
            cells = frame[name].dt.tz_localize(None).to_numpy(dtype="datetime64[us]")
        elif typed and name in _FLOATS:
            kind, cells = arrow.float64(), frame[name].astype("float64").to_numpy()
        else:
            cells = texts(frame[name])
        fields.append(arrow.field(name, kind, metadata={"meaning": MEANING.get(name, "")}))
        columns.append(arrow.array(cells, kind, from_pandas=True))
    return arrow.table(columns, schema=arrow.schema(fields))


def read_parquet(folder: Path, *, large: bool = False) -> Dataset:
    """The content of files written by this program. Raises OperatorError for any others.

    ``large``: whatever their size, with texts that repeat as categories, without names of rows.
    """
    tables, about = {}, None
    for name in (*NAMES, *(f"{name}.parquet" for name in FURTHER_TABLES)):
        if name not in NAMES and not (folder / name).is_file():
            continue
        table, notes = _read(folder / name, large)
        tables[name.removesuffix(".parquet")] = table
        about = about or _about(notes)
    stems, plots = tables.pop("measurements"), tables.pop("plots")
    missing = {*WRITTEN, *PLOT_COLUMNS} - {*stems.columns, *plots.columns}
    if missing:
        raise OperatorError(f"{folder} lacks the column {', '.join(sorted(missing))}")
    return Dataset(
        measurements_from(stems.drop(columns="diameter_cm", errors="ignore")),
        plots_from(text_frame(plots, list(plots.columns))),
        {name: text_frame(table, list(table.columns)) for name, table in tables.items()},
        about=about,
    )


def _read(path: Path, large: bool) -> tuple[pd.DataFrame, Any]:
    """The cells of a file as texts, dates and floats as such; and its notes."""
    parquet, arrow = _library()
    try:
        about = parquet.read_metadata(path)
        limits = LARGE if large else OF_STRANGERS
        refuse_large(about.num_rows, about.num_columns, limits)
        names = [name for name in about.schema.names if not (large and name in ROW_NAMES)]
        few = [name for name in REPEATING if large and name in names]
        found = parquet.read_table(path, columns=names, read_dictionary=few)
        frame = found.to_pandas()
    except (OSError, arrow.ArrowException) as error:
        raise OperatorError(f"{path} cannot be read: {error}") from None
    return frame.assign(**{name: _cells(frame[name]) for name in frame}), found.schema.metadata


def _cells(column: pd.Series) -> Any:
    if not isinstance(column.dtype, pd.CategoricalDtype):
        return column if column.dtype.kind in "Mf" else texts(column)
    known = {"", *column.cat.categories} if column.hasnans else {*column.cat.categories}
    column = column.cat.set_categories(sorted(known))  # in order, as tables are sorted by them
    return column.fillna("") if column.hasnans else column


def _about(metadata: Any) -> About | None:
    try:
        return about_from(json.loads(metadata[b"about"]))
    except (KeyError, TypeError, ValueError):
        return None
