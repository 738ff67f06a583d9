"""One survey is one folder: ``survey.toml``, ``journal.db`` and ``audio/``.

Created whole or not at all: it is built beside its place and renamed into it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.model import PlotSettings, Tree
from callout.journal.audio import AudioStore
from callout.journal.codec import roster_body, settings_body
from callout.journal.reader import JournalReader, by_plot, plots_of
from callout.journal.writer import JournalWriter
from callout.survey.check_settings import rules_from, with_rules
from callout.survey.config import Config, read_config
from callout.survey.files import FILE_MODE, FOLDER_MODE, new_folder, write_whole
from callout.survey.guard import refuse_links
from callout.survey.new_settings import new_settings
from callout.survey.settings_file import SETTINGS
from callout.survey.species_table import species_of

SITE_MARK = "site.toml"  # the result of 'callout merge' holds several surveys and is not one


@dataclass(frozen=True)
class SurveyFolder:
    """The paths of a survey's parts."""

    path: Path

    @property
    def settings(self) -> Path:
        """The settings file."""
        return self.path / SETTINGS

    @property
    def database(self) -> Path:
        """The journal."""
        return self.path / "journal.db"

    @property
    def audio(self) -> AudioStore:
        """The sound store."""
        return AudioStore(self.path / "audio")

    def config(self) -> Config:
        """The settings as in the file. Raises OperatorError if they cannot be read."""
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
    """The survey at ``path``. Raises OperatorError if there is none, or it contains links."""
    folder = SurveyFolder(path)
    refuse_links(path)
    for part in (folder.settings, folder.database):
        if not part.is_file():
            if (path / SITE_MARK).is_file():
                raise OperatorError(
                    f"{path} is a united site: name one of its recorders, as {path}/recorders/…"
                )
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
    files: Mapping[str, bytes] | None = None,
    entries: Sequence[tuple[str, Mapping[str, Any]]] = (),
) -> SurveyFolder:
    """Make a survey folder at ``path``, which must not exist yet.

    ``plots`` holds the settings of plots that differ from ``measuring``; ``at`` is the time of
    making, ISO 8601 with offset. ``files`` are added by name: a ``survey.toml`` among them replaces
    the generated one. ``entries`` (kind, body) are journalled after the roster.
    """
    with new_folder(path) as building:
        _fill(SurveyFolder(building), path.name, trees, measuring, plots, at, files or {}, entries)
    return SurveyFolder(path)


def _fill(
    folder: SurveyFolder,
    name: str,
    trees: tuple[Tree, ...],
    measuring: PlotSettings,
    plots: dict[str, PlotSettings],
    at: str,
    files: Mapping[str, bytes],
    entries: Sequence[tuple[str, Mapping[str, Any]]],
) -> None:
    (folder.path / "audio").mkdir(mode=FOLDER_MODE)
    text = new_settings(name, measuring, plots).encode()
    for file, data in {folder.settings.name: text, **files}.items():
        write_whole(folder.path / file, data)
    names = dict.fromkeys(tree.plot for tree in trees)
    settings = {plot: plots.get(plot) or replace(measuring, plot=plot) for plot in names}
    writer = JournalWriter(folder.database)
    try:
        writer.append(at, "roster", roster_body(trees))
        checks = folder.config().other.get("checks", {})
        rules = rules_from(checks, plots_of(by_plot(trees), settings), species_of(folder.path))
        writer.append(at, "settings", with_rules(settings_body(settings), rules))
        for kind, body in entries:
            writer.append(at, kind, dict(body))
    finally:
        writer.close()
    folder.database.chmod(FILE_MODE)
