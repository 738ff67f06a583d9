"""Measurements taken from whatever holds them: a survey, a united site, or a form we wrote.

The form is told by what is there, never by guessing at contents; each reader checks its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from callout.core.errors import OperatorError
from callout.core.model import Plot
from callout.crews.place import read_place
from callout.crews.site import is_site


@dataclass(frozen=True)
class Taken:
    """The two frames; ``trees`` of the roster where the form holds them; ``known`` plots, whole,

    where they come from a survey.
    """

    measurements: pd.DataFrame
    plots: pd.DataFrame
    trees: pd.DataFrame | None
    known: dict[str, Plot]


def take(path: Path) -> Taken:
    """What ``path`` holds. Raises OperatorError for a path that is none of our forms."""
    if is_site(path) or (path / "journal.db").is_file():
        from callout.reports.frames import survey_frames, survey_trees

        return Taken(*survey_frames(path), survey_trees(path), dict(read_place(path).plots))
    if (path / "datapackage.json").is_file() or path.name == "datapackage.json":
        from callout.reports.exchange.datapackage import read_package, read_trees

        return Taken(*read_package(path), read_trees(path), {})
    if (path / "measurements.parquet").is_file():
        from callout.reports.exchange.parquet import read_parquet

        return Taken(*read_parquet(path), None, {})
    if path.is_file() and path.suffix.lower() == ".zip":
        from callout.reports.exchange.darwincore import read_archive

        return Taken(*read_archive(path), None, {})
    if path.is_file() and path.suffix.lower() == ".xlsx":
        from callout.reports.exchange.excel import read_workbook

        return Taken(*read_workbook(path), None, {})
    raise OperatorError(
        f"{path} is no survey and none of the forms that 'callout export' writes; another's table "
        "goes through 'callout import' first"
    )
