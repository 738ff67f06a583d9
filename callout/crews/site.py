"""A united site is one folder: a copy of each recorder's journal, and the office's rulings.

``site.toml`` marks it as one; ``recorders/ID/`` holds a recorder's journal with its own chain,
seals, settings and sounds, as a survey folder does; ``office/`` holds the rulings made here. Only
uniting writes to the copies.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex

from callout.core.errors import InUseError, OperatorError
from callout.crews.recorder import Recorder, recorder_of
from callout.journal.folder import SITE_MARK, SurveyFolder, open_survey
from callout.journal.writer import JournalWriter
from callout.survey.files import FILE_MODE, FOLDER_MODE, storage_errors
from callout.survey.guard import open_lock, refuse_links

TEXT = "# A united site, made by 'callout merge'. Its folders are copies: work goes on elsewhere.\n"


@dataclass(frozen=True)
class Held:
    """A journal of the site, with its recorder."""

    recorder: Recorder
    folder: SurveyFolder


@dataclass(frozen=True)
class Site:
    """The paths of a united site's parts."""

    path: Path

    @property
    def recorders(self) -> Path:
        """The copies, one folder each."""
        return self.path / "recorders"

    @property
    def office(self) -> SurveyFolder:
        """The rulings made here; the journal is made with the first one."""
        return SurveyFolder(self.path / "office")

    def held(self) -> list[Held]:
        """Every recorder's copy and the office's journal, in order of their ids.

        Raises StorageError for one that cannot be read, OperatorError for one that nobody opened.
        """
        found = (held(folder) for folder in site_folders(self))
        return sorted(found, key=lambda item: item.recorder.id)

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Lock the site; the system releases the lock if the process dies."""
        descriptor = open_lock(self.path / ".lock")
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield
        except BlockingIOError:
            raise InUseError(f"another callout is using {self.path}: wait for it") from None
        finally:
            os.close(descriptor)


def site_folders(site: Site) -> list[SurveyFolder]:
    """Every folder of the site that holds a journal, readable or not."""
    refuse_links(site.path)
    with storage_errors(f"cannot read {site.recorders}"):
        folders = [SurveyFolder(path) for path in sorted(site.recorders.iterdir()) if is_copy(path)]
    found = [*folders, site.office] if site.office.database.is_file() else folders
    for folder in found:
        refuse_links(folder.path)
    return found


def is_copy(path: Path) -> bool:
    """Whether a folder in ``recorders`` is whole; one being made has no journal yet."""
    return not path.name.startswith(".") and (path / "journal.db").is_file()


def held(folder: SurveyFolder) -> Held:
    """The journal of a folder, with its recorder."""
    with folder.reading() as reader:
        recorder = recorder_of(reader.entries())
    if recorder is None:
        raise OperatorError(f"{folder.path}: nobody has opened it yet")
    return Held(recorder, folder)


def journals_at(path: Path) -> list[tuple[Recorder | None, SurveyFolder]]:
    """Each recorder's journal of a united site, without the office's; or the one of a survey.

    A survey's recorder is not asked for: None. Raises OperatorError if there is neither.
    """
    if not is_site(path):
        return [(None, open_survey(path))]
    return [(one.recorder, one.folder) for one in Site(path).held() if not one.recorder.office]


def is_site(path: Path) -> bool:
    """Whether ``path`` is a united site."""
    return (path / SITE_MARK).is_file()


def recorder_called(site: Site, name: str) -> Held:
    """The recorder whose id begins with ``name``. Raises OperatorError unless there is just one."""
    known = site.held()
    found = [item for item in known if name and item.recorder.id.startswith(name.lower())]
    if len(found) != 1:
        told = ", ".join(item.recorder.told for item in known)
        raise OperatorError(
            f"recorder {name!r}: {'no' if not found else 'more than one'} such: {told}"
        )
    return found[0]


def office_writer(site: Site, at: str) -> JournalWriter:
    """The office's journal, open for adding; started, with an id of its own, if there is none."""
    with storage_errors(f"cannot make {site.office.path}"):
        site.office.path.mkdir(mode=FOLDER_MODE, exist_ok=True)
    writer = JournalWriter(site.office.database)
    if writer.next_entry == 1:
        writer.append(at, "office", {"id": token_hex(16), "who": "office"})
        site.office.database.chmod(FILE_MODE)
    return writer
