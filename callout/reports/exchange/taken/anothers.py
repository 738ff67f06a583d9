"""Somebody else's data package or table, read with a mapping that a person has filled in.

This lets anybody make the same page from public data. Nothing is guessed: a table without a mapping
is refused, and so is one with a row that cannot be used.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd

from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.taken.importing import import_table
from callout.reports.exchange.taken.mapping import read_mapping
from callout.reports.exchange.taken.told_of_plots import PLOT_FACTS, plots_and_history
from callout.reports.identities import identified
from callout.survey.archives import json_of, read_table
from callout.survey.files import storage_errors
from callout.survey.guard import read_plain
from callout.survey.sheets import read_sheet

DESCRIPTOR = "datapackage.json"


def mapped_dataset(path: Path, mapping: Path) -> Dataset:
    """Read the table at ``path`` (a CSV, or a data package with one) by the mapping in a TOML file.

    Raises OperatorError for a mapping with open questions, or naming the first bad rows.
    """
    table_path = _table_of(path)
    with storage_errors(f"cannot read {mapping}"):
        text = mapping.read_bytes().decode("utf-8", errors="replace")
    table = read_sheet(table_path)
    frame, refused = import_table(table, read_mapping(text))
    if refused:
        lines = "; ".join(f"line {item.line}: {item.why}" for item in refused[:3])
        raise OperatorError(
            f"{table_path}: {counted(len(refused), 'row')} cannot be used ({lines}); take the rest "
            "with 'callout import', which lists them, and report on what it writes"
        )
    return imported_dataset(frame, table_path)


def imported_dataset(frame: pd.DataFrame, table: Path) -> Dataset:
    """The rows of ``import_table`` named for good by the bytes of ``table``, and their plots."""
    plots, history = plots_and_history(frame)
    rows = frame.drop(columns=[name for name in PLOT_FACTS if name in frame.columns])
    further = {} if history is None else {"history": history}
    return Dataset(identified(rows, origin_of(table)), plots, further)


def origin_of(path: Path) -> str:
    """The identity of a table for naming its rows: the exact bytes of its file."""
    with storage_errors(f"cannot read {path}"):
        return hashlib.sha256(read_table(path)).hexdigest()


def _table_of(path: Path) -> Path:
    descriptor = path / DESCRIPTOR if path.is_dir() else path
    if descriptor.name != DESCRIPTOR:
        return path
    try:
        resources = json_of(read_plain(descriptor).decode("utf-8"))["resources"]
        names = [str(item["path"]) for item in resources if str(item["path"]).endswith(".csv")]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise OperatorError(f"{descriptor} is no data package: {error}") from None
    if len(names) != 1 or "/" in names[0] or "\\" in names[0]:
        told = ", ".join(names) or "none"
        raise OperatorError(f"{descriptor}: name the CSV with the trees ({told}), not the package")
    return descriptor.parent / names[0]
