"""Parquet files of measurements and plots, and back.

The reading stays its exact text; ``diameter_cm`` beside it is a float for computing. What it cannot
hold: sounds, settings of the survey, and times finer than a microsecond. Columns beyond those every
frame has travel as text.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.errors import OperatorError
from callout.journal.files import storage_errors
from callout.reports.exchange.cells import (
    MEANING,
    WRITTEN,
    About,
    extra_columns,
    measurements_from,
    plots_from,
    text_rows,
    told,
)
from callout.reports.stand.columns import PLOT_COLUMNS

NAMES = ("measurements.parquet", "plots.parquet")


def write_parquet(
    folder: Path, measurements: pd.DataFrame, plots: pd.DataFrame, about: About
) -> tuple[Path, Path]:
    """Write ``measurements.parquet`` and ``plots.parquet`` into ``folder``."""
    parquet, arrow = _library()
    with storage_errors(f"cannot write into {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        paths = (folder / NAMES[0], folder / NAMES[1])
        for path, table in zip(
            paths, (_measurements(arrow, measurements), _plots(arrow, plots)), strict=True
        ):
            notes = {b"about": json.dumps(asdict(about)).encode()}
            parquet.write_table(table.replace_schema_metadata(notes), path)
    return paths


def _library() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise OperatorError("Parquet needs pyarrow: pip install 'callout[reports]'") from None
    return pyarrow.parquet, pyarrow


def _measurements(arrow: Any, frame: pd.DataFrame) -> Any:
    fields, columns = [], []
    for name in [*WRITTEN, "diameter_cm", *extra_columns(frame)]:
        kind, cells = arrow.string(), [told(cell) for cell in frame[name]]
        if name == "date":
            kind = arrow.timestamp("us")
            cells = list(frame[name].dt.tz_localize(None).dt.to_pydatetime())
        elif name in ("diameter_cm", "measured_height_m"):
            kind, cells = arrow.float64(), frame[name].astype("float64").to_numpy()
        fields.append(arrow.field(name, kind, metadata={"meaning": MEANING.get(name, "")}))
        columns.append(arrow.array(cells, kind, from_pandas=True))
    return arrow.table(columns, schema=arrow.schema(fields))


def _plots(arrow: Any, frame: pd.DataFrame) -> Any:
    numbers = ("area_ha", "breast_height_m")
    columns = {
        name: arrow.array(
            frame[name].astype("float64").to_numpy(), arrow.float64(), from_pandas=True
        )
        if name in numbers
        else arrow.array([told(cell) for cell in frame[name]], arrow.string())
        for name in PLOT_COLUMNS
    }
    return arrow.table(columns)


def read_parquet(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The frames of two files that this program wrote. Raises OperatorError for any others."""
    parquet, arrow = _library()
    frames = []
    for name in NAMES:
        try:
            frames.append(parquet.read_table(folder / name).to_pandas())
        except (OSError, arrow.ArrowException) as error:
            raise OperatorError(f"{folder / name} cannot be read: {error}") from None
    stems, plots = frames
    columns = [name for name in stems.columns if name != "diameter_cm"]
    missing = {*WRITTEN, *PLOT_COLUMNS} - {*columns, *plots.columns}
    if missing:
        raise OperatorError(f"{folder} lacks the column {', '.join(sorted(missing))}")
    return (
        measurements_from(text_rows(stems, columns), columns),
        plots_from(text_rows(plots, PLOT_COLUMNS), PLOT_COLUMNS),
    )
