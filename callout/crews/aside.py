"""Puts a recorder's copy at a site aside, if it is wrong and must be taken again."""

from __future__ import annotations

from collections.abc import Collection
from itertools import count
from pathlib import Path

from callout.core.errors import OperatorError
from callout.crews.site import Site, site_folders
from callout.journal.folder import SurveyFolder
from callout.survey.files import FOLDER_MODE, storage_errors, sync_folder


def taken_wrongly(site: Site, given: Collection[str], name: str) -> SurveyFolder | None:
    """The copy of the recorder whose id begins with ``name``; None for no name.

    Raises OperatorError unless there is just one, also among ``given``, the recorders now merged.
    """
    if not name:
        return None
    found = [
        folder
        for folder in site_folders(site)
        if folder != site.office and folder.path.name.startswith(name.lower())
    ]
    if len(found) != 1 or found[0].path.name not in given:
        raise OperatorError(
            f"--replace {name}: name one recorder of {site.path} whose folder is merged now"
        )
    return found[0]


def put_aside(site: Site, wrong: SurveyFolder) -> Path:
    """Move the folder out of the site's recorders, but keep it for later questions."""
    aside = site.path / "put-aside"
    with storage_errors(f"cannot put {wrong.path} aside"):
        aside.mkdir(mode=FOLDER_MODE, exist_ok=True)
        number = next(n for n in count(1) if not (aside / f"{wrong.path.name}-{n}").exists())
        place = aside / f"{wrong.path.name}-{number}"
        wrong.path.rename(place)
        sync_folder(aside)
        sync_folder(site.recorders)
    return place
