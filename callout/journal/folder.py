"""One survey is one folder: ``survey.toml``, ``journal.db`` and ``audio/``.

Made whole or not at all: it is built beside its place and renamed into it.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from callout.core.errors import OperatorError
from callout.core.model import PlotSettings, Tree
from callout.journal.audio import AudioStore
from callout.journal.check_settings import rules_from, with_rules
from callout.journal.codec import roster_body, settings_body
from callout.journal.config import Config, new_settings, read_config
from callout.journal.files import FILE_MODE, FOLDER_MODE, storage_errors, sync_folder, write_whole
from callout.journal.reader import JournalReader, plots_of
from callout.journal.species import species_of
from callout.journal.writer import JournalWriter


@dataclass(frozen=True)
class SurveyFolder:
    """Where the parts of a survey lie."""

    path: Path

    @property
    def settings(self) -> Path:
        """The settings file."""
        return self.path / "survey.toml"

    @property
    def database(self) -> Path:
        """The journal."""
        return self.path / "journal.db"

    @property
    def audio(self) -> AudioStore:
        """The sound store."""
        return AudioStore(self.path / "audio")

    def config(self) -> Config:
        """The settings as they stand in the file."""
        return read_config(self.settings)

    @contextmanager
    def reading(self) -> Iterator[JournalReader]:
        """The journal, open for reading."""
        reader = JournalReader(self.database)
        try:
            yield reader
        finally:
            reader.close()


def open_survey(path: Path) -> SurveyFolder:
    """The survey at ``path``. Raises OperatorError where there is none."""
    folder = SurveyFolder(path)
    for part in (folder.settings, folder.database):
        if not part.is_file():
            raise OperatorError(
                f"{path} is not a survey folder: no {part.name}; make one with 'callout new'"
            )
    return folder


def make_survey(
    path: Path,
    trees: tuple[Tree, ...],
    measuring: PlotSettings,
    plots: dict[str, PlotSettings],
    at: str,
) -> SurveyFolder:
    """Make a survey folder at ``path``, which must not exist yet.

    ``plots`` holds the settings of plots that differ from ``measuring``; ``at`` is the time of
    making, ISO 8601 with offset.
    """
    if path.exists():
        raise OperatorError(f"{path} exists already: choose another name")
    if not path.parent.is_dir():
        raise OperatorError(f"there is no folder {path.parent}: make it first")
    with storage_errors(f"cannot make {path}"):
        building = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}-"))
        try:
            _fill(SurveyFolder(building), path.name, trees, measuring, plots, at)
            building.rename(path)
            sync_folder(path.parent)
        except BaseException:
            shutil.rmtree(building, ignore_errors=True)
            raise
    return SurveyFolder(path)


def _fill(
    folder: SurveyFolder,
    name: str,
    trees: tuple[Tree, ...],
    measuring: PlotSettings,
    plots: dict[str, PlotSettings],
    at: str,
) -> None:
    (folder.path / "audio").mkdir(mode=FOLDER_MODE)
    write_whole(folder.settings, new_settings(name, measuring, plots).encode())
    names = dict.fromkeys(tree.plot for tree in trees)
    settings = {plot: plots.get(plot) or replace(measuring, plot=plot) for plot in names}
    writer = JournalWriter(folder.database)
    try:
        writer.append(at, "roster", roster_body(trees))
        rules = rules_from({}, plots_of(trees, settings), species_of(folder.path))
        writer.append(at, "settings", with_rules(settings_body(settings), rules))
    finally:
        writer.close()
    folder.database.chmod(FILE_MODE)
