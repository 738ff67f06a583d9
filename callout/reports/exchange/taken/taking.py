"""Reads measurements from any source: a survey, a united site, or a form we wrote.

The source is recognised by its files, never by guessing at contents; each reader checks its own.
"""

from __future__ import annotations

from pathlib import Path

from callout.core.errors import OperatorError
from callout.crews.place import read_place
from callout.crews.site import is_site
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.metadata import ABOUT_FILE, About, placed, read_about


def take(path: Path, mapping: Path | None = None, *, large: bool = False) -> Dataset:
    """The data set at ``path``; somebody else's table needs a ``mapping``.

    ``large``: packages and Parquet files are read whatever their size, with texts that repeat as
    categories. Raises OperatorError for a path that is none of our forms.
    """
    if mapping is not None:
        from callout.reports.exchange.taken.anothers import mapped_dataset

        return mapped_dataset(path, mapping)
    if is_survey(path):
        return survey_dataset(path)
    if (path / "datapackage.json").is_file() or path.name == "datapackage.json":
        from callout.reports.exchange.datapackage import read_package

        return read_package(path, large=large)
    if (path / "measurements.parquet").is_file():
        from callout.reports.exchange.parquet import read_parquet

        return read_parquet(path, large=large)
    if path.is_file() and path.suffix.lower() == ".zip":
        from callout.reports.exchange.darwincore_read import read_archive

        return read_archive(path)
    if path.is_file() and path.suffix.lower() == ".xlsx":
        from callout.reports.exchange.excel import read_workbook

        return read_workbook(path)
    raise OperatorError(
        f"{path} is no survey and none of the forms that 'callout export' writes; another's table "
        "goes through 'callout import' first, or is named with --mapping"
    )


def is_survey(path: Path) -> bool:
    """Whether ``path`` holds journals: a survey or a united site."""
    return is_site(path) or (path / "journal.db").is_file()


def survey_dataset(path: Path, about: About | None = None, told_in: Path | None = None) -> Dataset:
    """A whole survey or site; its ``about.toml`` (or ``told_in``) overrides ``about``."""
    from callout.reports.histories import history_of, history_texts, on_their_day, survey_since
    from callout.reports.survey_frames import frames_of, notes_of, trees_of

    place = read_place(path)
    measurements, plots = frames_of(place)
    since, censuses = survey_since(path)
    history = history_texts(since)
    measurements = on_their_day(measurements, plots, history_of(history), censuses)
    base = about or About(path.resolve().name, "", "")
    told = read_about(told_in or path / ABOUT_FILE, base)
    further = {"trees": trees_of(place), "notes": notes_of(place), "history": history}
    return Dataset(
        measurements,
        placed(plots, told),
        {name: table for name, table in further.items() if name == "trees" or len(table)},
        dict(place.plots),
        told,
    )
