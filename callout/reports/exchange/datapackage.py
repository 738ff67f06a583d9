"""A Frictionless Data Package: CSV with a Table Schema, and back.

``datapackage.json`` names columns, types, units and keys (specifications of the Frictionless
project, version 1). What it cannot hold: sounds, settings of the survey, and times finer than a
microsecond. No other form here.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.units import Unit
from callout.journal.files import storage_errors
from callout.reports.exchange.cells import (
    GUARD_NOTE,
    MEANING,
    WRITTEN,
    About,
    bared,
    extra_columns,
    guarded,
    measurements_from,
    plots_from,
    text_rows,
)
from callout.reports.stand.columns import PLOT_COLUMNS, STATUSES

DESCRIPTOR = "datapackage.json"
_PLOT_KEY = {"fields": ["plot"], "reference": {"resource": "plots", "fields": ["plot"]}}
_NUMBERS = ("value", "measured_height_m", "area_ha", "breast_height_m")


def write_package(
    folder: Path,
    measurements: pd.DataFrame,
    plots: pd.DataFrame,
    about: About,
    trees: pd.DataFrame | None = None,
) -> Path:
    """Write the package into ``folder`` (made if need be); returns the descriptor's path.

    ``trees`` (plot, tag, species and any further columns, texts) are the roster's, measured or not.
    """
    columns = [*WRITTEN, *extra_columns(measurements)]
    rows = text_rows(measurements, columns)
    numbered = [[str(at), *row] for at, row in enumerate(rows, 1)]
    with storage_errors(f"cannot write into {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        resources = [
            _resource(folder, "plots", PLOT_COLUMNS, text_rows(plots, PLOT_COLUMNS)),
            _resource(folder, "measurements", ["id", *columns], numbered),
        ]
        if trees is not None:
            names = [str(name) for name in trees.columns]
            resources.append(_resource(folder, "trees", names, text_rows(trees, names)))
        path = folder / DESCRIPTOR
        path.write_text(
            json.dumps(_descriptor(resources, about), ensure_ascii=False, indent=2) + "\n",
            encoding="utf-8",
        )
    return path


def csv_text(
    columns: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[str] = _NUMBERS
) -> str:
    """CSV (RFC 4180 quoting, line feeds) with every text guarded against formulas."""
    numeric = {at for at, name in enumerate(columns) if name in numbers}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([guarded(name) for name in columns])
    writer.writerows(
        [cell if at in numeric else guarded(cell) for at, cell in enumerate(row)] for row in rows
    )
    return text.getvalue()


def _resource(
    folder: Path, name: str, columns: Sequence[str], rows: Sequence[Sequence[str]]
) -> dict[str, Any]:
    numbers = () if name == "trees" else _NUMBERS  # further columns hold what people wrote
    data = csv_text(columns, rows, numbers).encode("utf-8")
    (folder / f"{name}.csv").write_bytes(data)
    return {
        "name": name,
        "path": f"{name}.csv",
        "profile": "tabular-data-resource",
        "description": GUARD_NOTE,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": _schema(name, columns, rows),
    }


def _schema(resource: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, Any]:
    if resource == "trees":
        return {
            "fields": [{"name": name, "type": "string"} for name in columns],
            "missingValues": [""],
            "primaryKey": ["plot", "tag"],
            "foreignKeys": [_PLOT_KEY],
        }
    schema: dict[str, Any] = {
        "fields": [
            _field(name, [row[at] for row in rows] if name == "date" else [])
            for at, name in enumerate(columns)
        ],
        "missingValues": [""],
    }
    if resource == "plots":
        return {**schema, "primaryKey": ["plot"]}
    return {**schema, "primaryKey": ["id"], "foreignKeys": [_PLOT_KEY]}


def _field(name: str, dates: Sequence[str]) -> dict[str, Any]:
    field: dict[str, Any] = {"name": name, "type": "string"}
    if name in MEANING:
        field["description"] = MEANING[name]
    if name == "id":
        return {**field, "type": "integer", "constraints": {"required": True, "unique": True}}
    if name == "date":
        kind = {"type": "datetime", "format": "any"} if any("T" in text for text in dates) else {}
        return {**field, "type": "date", **kind, "constraints": {"required": True}}
    if name in _NUMBERS:
        return {**field, "type": "number", "constraints": {"minimum": 0}}
    if name == "status":
        return {**field, "constraints": {"required": True, "enum": list(STATUSES)}}
    if name == "unit":
        return {**field, "constraints": {"enum": [unit.value for unit in Unit]}}
    if name in ("plot", "tag"):
        return {**field, "constraints": {"required": True}}
    return field


def _descriptor(resources: list[dict[str, Any]], about: About) -> dict[str, Any]:
    descriptor: dict[str, Any] = {
        "profile": "tabular-data-package",
        "name": "tree-measurements",
        "title": about.title,
        "description": about.description,
        "created": about.created,
        "contributors": [{"title": about.creator, "role": "author"}],
        "resources": resources,
    }
    if about.licence:
        descriptor["licenses"] = [{"name": about.licence}]
    return descriptor


def read_package(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The frames of a package that this program wrote, hashes checked.

    ``path`` is its folder or descriptor. Raises OperatorError for one that is changed or not ours.
    """
    tables = _tables(path)
    return measurements_from(*tables["measurements"]), plots_from(*tables["plots"])


def read_trees(path: Path) -> pd.DataFrame | None:
    """The roster's trees in a package, texts; None where it has none. Raises OperatorError."""
    found = _tables(path).get("trees")
    if found is None:
        return None
    rows, columns = found
    missing = [name for name in ("plot", "tag", "species") if name not in columns]
    if missing:
        raise OperatorError(f"the trees lack the column {', '.join(missing)}")
    return pd.DataFrame(rows, columns=columns)


def _tables(path: Path) -> dict[str, tuple[list[list[str]], list[str]]]:
    """Rows and header of each resource, its hash checked."""
    descriptor = path / DESCRIPTOR if path.is_dir() else path
    try:
        told = json.loads(descriptor.read_text(encoding="utf-8"))
        resources = {item["name"]: item for item in told["resources"]}
        names = ["measurements", "plots", *(["trees"] if "trees" in resources else [])]
        return {name: _read_resource(descriptor.parent, resources[name]) for name in names}
    except (OSError, ValueError, KeyError, TypeError, csv.Error) as error:
        raise OperatorError(f"{descriptor} is no data package of this program: {error}") from None


def _read_resource(folder: Path, resource: dict[str, Any]) -> tuple[list[list[str]], list[str]]:
    name = str(resource["path"])
    if "/" in name or "\\" in name:
        raise OperatorError(f"{name!r} lies outside the package: give one with plain file names")
    data = (folder / name).read_bytes()
    if resource["hash"] != f"sha256:{hashlib.sha256(data).hexdigest()}":
        raise OperatorError(f"{name} was changed after the package was written: its hash differs")
    text = data.decode("utf-8")
    return split_rows(csv.reader(io.StringIO(text, newline="")))


def split_rows(reader: Any) -> tuple[list[list[str]], list[str]]:
    """Rows and header of a guarded CSV. Raises OperatorError for a row of another width."""
    header = [bared(cell) for cell in next(reader, [])]
    rows = [[bared(cell) for cell in row] for row in reader]
    for at, row in enumerate(rows, 1):
        if len(row) != len(header):
            raise OperatorError(f"row {at} has {len(row)} cells where the header has {len(header)}")
    return rows, header
