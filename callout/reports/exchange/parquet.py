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
from callout.survey.archives import refuse_large
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


def read_parquet(folder: Path) -> Dataset:
    """The content of files written by this program. Raises OperatorError for any others."""
    parquet, arrow = _library()
    tables, about = {}, None
    for name in (*NAMES, *(f"{name}.parquet" for name in FURTHER_TABLES)):
        if name not in NAMES and not (folder / name).is_file():
            continue
        try:
            about_it = parquet.read_metadata(folder / name)
            refuse_large(about_it.num_rows, about_it.num_columns)
            found = parquet.read_table(folder / name)
        except (OSError, arrow.ArrowException) as error:
            raise OperatorError(f"{folder / name} cannot be read: {error}") from None
        tables[name.removesuffix(".parquet")] = found.to_pandas()
        about = about or _about(found.schema.metadata)
    stems, plots = tables.pop("measurements"), tables.pop("plots")
    columns = [name for name in stems.columns if name != "diameter_cm"]
    missing = {*WRITTEN, *PLOT_COLUMNS} - {*columns, *plots.columns}
    if missing:
        raise OperatorError(f"{folder} lacks the column {', '.join(sorted(missing))}")
    return Dataset(
        measurements_from(text_frame(stems, columns)),
        plots_from(text_frame(plots, list(plots.columns))),
        {name: text_frame(table, list(table.columns)) for name, table in tables.items()},
        about=about,
    )


def _about(metadata: Any) -> About | None:
    try:
        return about_from(json.loads(metadata[b"about"]))
    except (KeyError, TypeError, ValueError):
        return None
