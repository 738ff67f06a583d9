"""A Frictionless Data Package: CSV with a Table Schema, and back.

``datapackage.json`` names columns, types, units and keys (specifications of the Frictionless
project, version 1). What it cannot hold: sounds, the journal, settings of checks and listening, and
times finer than a microsecond. No other form here.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.core.units import Unit
from callout.reports.exchange.cells import (
    MEANING,
    PLACE_COLUMNS,
    WRITTEN,
    extra_columns,
    extra_plot_columns,
    mapped,
    measurements_from,
    plots_from,
    text_frame,
)
from callout.reports.exchange.citation import CITATION_FILE, citation
from callout.reports.exchange.dataset import FURTHER_TABLES, Dataset
from callout.reports.exchange.metadata import About, about_from
from callout.reports.identities import identified
from callout.reports.spreadsheets import GUARD_NOTE, bared, guarded, plain_number
from callout.reports.stand.columns import PLOT_COLUMNS, STATUSES
from callout.survey.archives import LARGE, OF_STRANGERS, Limits, json_of, read_table, refuse_large
from callout.survey.files import storage_errors
from callout.survey.guard import read_plain

DESCRIPTOR = "datapackage.json"
_PLOT_KEY = {"fields": ["plot"], "reference": {"resource": "plots", "fields": ["plot"]}}
_NUMBERS = ("value", "measured_height_m", "area_ha", "breast_height_m")
_KEYS = {"trees": ["plot", "tag"], "notes": ["note_id"], "history": ["plot", "from_day"]}


def write_package(folder: Path, data: Dataset, about: About) -> Path:
    """Write the package into ``folder`` (made if need be); returns the descriptor's path.

    Also writes a ``CITATION.cff``, which says how to cite the data.
    """
    measurements = identified(data.measurements, about.title)
    columns = ["measurement_id", *WRITTEN]
    columns += [name for name in extra_columns(measurements) if name != "measurement_id"]
    plot_columns = [*PLOT_COLUMNS, *extra_plot_columns(data.plots)]
    tables = {
        "plots": text_frame(data.plots, plot_columns),
        "measurements": text_frame(measurements, columns),
    }
    for name, table in data.further.items():
        tables[name] = text_frame(table, [str(column) for column in table.columns])
    with storage_errors(f"cannot write into {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        resources = [_resource(folder, name, table) for name, table in tables.items()]
        path = folder / DESCRIPTOR
        descriptor = _descriptor(resources, about, measurements["date"])
        path.write_text(
            json.dumps(descriptor, ensure_ascii=False, indent=2) + "\n", encoding="utf-8"
        )
        (folder / CITATION_FILE).write_text(citation(about), encoding="utf-8")
    return path


def csv_text(table: pd.DataFrame, numbers: Sequence[str] = _NUMBERS) -> str:
    """CSV (RFC 4180 quoting, line feeds) of texts, each guarded against formulas."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([guarded(str(name)) for name in table.columns])
    parts = [
        table[name].to_numpy(dtype=object)
        if name in numbers
        else mapped(table[name], placing if name in PLACE_COLUMNS else guarded)
        for name in table.columns
    ]
    writer.writerows(zip(*parts, strict=True))
    return text.getvalue()


def placing(text: str) -> str:
    """A coordinate: plain if it is a number, else guarded."""
    return text if plain_number(text) else guarded(text)


def _resource(folder: Path, name: str, table: pd.DataFrame) -> dict[str, Any]:
    # Further columns of the roster hold what people wrote, whatever their names.
    data = csv_text(table, () if name in FURTHER_TABLES else _NUMBERS).encode("utf-8")
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
        "schema": _schema(name, table),
    }


def _schema(resource: str, table: pd.DataFrame) -> dict[str, Any]:
    if resource in FURTHER_TABLES:
        fields = [_described({"name": str(name), "type": "string"}) for name in table.columns]
        schema = {"fields": fields, "missingValues": [""], "foreignKeys": [_PLOT_KEY]}
        key = _KEYS[resource]
        return {**schema, "primaryKey": key} if set(key) <= set(table.columns) else schema
    dates = table["date"] if "date" in table.columns else pd.Series([], dtype=object)
    timed = bool(dates.str.contains("T", regex=False).any()) if len(dates) else False
    schema = {"fields": [_field(str(name), timed) for name in table.columns], "missingValues": [""]}
    if resource == "plots":
        return {**schema, "primaryKey": ["plot"]}
    return {**schema, "primaryKey": ["measurement_id"], "foreignKeys": [_PLOT_KEY]}


def _described(field: dict[str, Any]) -> dict[str, Any]:
    meaning = MEANING.get(field["name"])
    return {**field, "description": meaning} if meaning else field


def _field(name: str, timed: bool) -> dict[str, Any]:
    field = _described({"name": name, "type": "string"})
    if name == "measurement_id":
        return {**field, "constraints": {"required": True, "unique": True}}
    if name == "date":
        kind = {"type": "datetime", "format": "any"} if timed else {}
        return {**field, "type": "date", **kind, "constraints": {"required": True}}
    if name in _NUMBERS:
        return {**field, "type": "number", "constraints": {"minimum": 0}}
    if name in PLACE_COLUMNS:
        return {**field, "type": "number"}
    if name == "status":
        return {**field, "constraints": {"required": True, "enum": list(STATUSES)}}
    if name == "unit":
        return {**field, "constraints": {"enum": [unit.value for unit in Unit]}}
    if name in ("plot", "tag"):
        return {**field, "constraints": {"required": True}}
    return field


def _descriptor(resources: list[dict[str, Any]], about: About, dates: pd.Series) -> dict[str, Any]:
    descriptor: dict[str, Any] = {
        "profile": "tabular-data-package",
        "name": "tree-measurements",
        "title": about.title,
        "description": about.description,
        "created": about.created,
        "contributors": [
            {
                key: text
                for key, text in (
                    ("title", one.told),
                    ("role", one.role),
                    ("email", one.email),
                    ("path", one.orcid),
                    ("organization", one.organization),
                )
                if text
            }
            for one in about.people
        ],
        "resources": resources,
        "about": about.plain,
    }
    if len(dates):
        first, last = (str(day)[:10] for day in (dates.min(), dates.max()))
        descriptor["temporal"] = {"start": first, "end": last}
    for key, value in (
        ("id", about.identifier),
        ("version", about.version),
        ("keywords", list(about.keywords)),
        ("methods", about.methods),
        ("licenses", [{"name": about.licence}] if about.licence else 0),
    ):
        if value:
            descriptor[key] = value
    return descriptor


def read_package(path: Path, *, large: bool = False) -> Dataset:
    """The content of a package written by this program, with its hashes checked.

    ``path`` is its folder or descriptor; ``large``: whatever its size. Raises OperatorError for one
    that is changed or not ours.
    """
    descriptor = path / DESCRIPTOR if path.is_dir() else path
    limits = LARGE if large else OF_STRANGERS
    try:
        told = json_of(read_plain(descriptor).decode("utf-8"))
        resources = {item["name"]: item for item in told["resources"]}
        names = ["measurements", "plots", *(name for name in FURTHER_TABLES if name in resources)]
        tables = {name: _read(descriptor.parent, resources[name], limits) for name in names}
        about = about_from(told["about"]) if "about" in told else None
    except (OSError, ValueError, KeyError, TypeError, csv.Error) as error:
        raise OperatorError(f"{descriptor} is no data package of this program: {error}") from None
    further = {name: _checked(name, table) for name, table in tables.items() if name in _KEYS}
    return Dataset(
        measurements_from(tables["measurements"]), plots_from(tables["plots"]), further, about=about
    )


def _checked(name: str, table: pd.DataFrame) -> pd.DataFrame:
    if name == "trees":
        missing = [column for column in ("plot", "tag", "species") if column not in table.columns]
        if missing:
            raise OperatorError(f"the trees lack the column {', '.join(missing)}")
    return table


def _read(folder: Path, resource: dict[str, Any], limits: Limits) -> pd.DataFrame:
    name = str(resource["path"])
    if "/" in name or "\\" in name:
        raise OperatorError(f"{name!r} lies outside the package: give one with plain file names")
    data = read_table(folder / name, limits)
    if resource["hash"] != f"sha256:{hashlib.sha256(data).hexdigest()}":
        raise OperatorError(f"{name} was changed after the package was written: its hash differs")
    return text_table(data.decode("utf-8"), limits)


def text_table(text: str, limits: Limits = OF_STRANGERS) -> pd.DataFrame:
    """A guarded CSV as a frame of texts. Raises OperatorError for a row of another width."""
    header = next(csv.reader(io.StringIO(text, newline="")), [])
    if not header:
        raise OperatorError("a table is empty")
    refuse_large(text.count("\n"), len(header), limits)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            table = pd.read_csv(
                io.StringIO(text, newline=""),
                dtype=object,
                header=0,
                names=header,
                index_col=False,
                na_filter=False,
                quotechar='"',
                doublequote=True,
                lineterminator="\n",
                skip_blank_lines=False,
            )
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError) as error:
        raise OperatorError(f"a row has another width than the header: {error}") from None
    short = table.isna().any(axis=1).to_numpy(dtype=bool)
    if short.any():
        raise OperatorError(f"row {int(np.argmax(short)) + 1} has fewer cells than the header")
    names = [bared(name) for name in header]
    return pd.DataFrame(
        {name: mapped(table[was], bared) for name, was in zip(names, header, strict=True)},
        columns=names,
    )
