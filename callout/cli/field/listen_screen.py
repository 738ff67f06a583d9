"""The terminal screen of ``callout listen``: it is shown first, on the main thread.

All else is loaded behind it, on a thread that makes the station, works until the person leaves, and
seals; hearing has another. What is typed meanwhile waits for the station.
"""

from __future__ import annotations

import argparse
import sys
import threading
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from callout.cli.crashes import defects_of_threads, told_at_the_end
from callout.core.saying import Says, as_is
from callout.station.hearing.launching import Child, launched
from callout.station.showing.safety import CAUTION, kept_told, shown_today
from callout.station.starting import StartingFace
from callout.survey.settings_file import SETTINGS, language_of
from callout.terminal.app import CalloutApp
from callout.terminal.screen_running import shown_whole
from callout.wording.language_files import load_wording

if TYPE_CHECKING:
    from callout.station.face import Face

_PARTS = (SETTINGS, "journal.db")


def run_screen(args: argparse.Namespace) -> int:
    """Show the screen until the person leaves; a daemon's, if one is at work."""
    _refuse(args.survey)
    if not args.audio:
        from callout.cli.field.listen_attached import attach

        if (code := attach(args)) is not None:
            return code
    return _Screen(args, launched(args.engine or "auto")).run()


def screen_of(survey: Path, face: Face) -> CalloutApp:
    """The screen for ``face``; the day's first one begins with safety and what is kept."""
    seen = shown_today(survey, date.today())  # noqa: DTZ011
    return CalloutApp(face, load_wording(language_of(survey)), () if seen else _cautions(survey))


def _cautions(survey: Path) -> Says:
    from callout.survey.config import read_config

    return (*CAUTION, kept_told(read_config(survey / SETTINGS).keeping))


def _refuse(survey: Path) -> None:
    """Raises OperatorError for what is plainly not a survey, before any screen is shown."""
    if not all((survey / part).is_file() for part in _PARTS):
        from callout.journal.folder import open_survey

        open_survey(survey)


class _Screen:
    """One screen, and the thread behind it."""

    def __init__(self, args: argparse.Namespace, child: Child) -> None:
        self._args, self._child = args, child
        self._leaving = threading.Event()
        self._told: list[str] = []
        self._left = ""
        self._ended_by: BaseException | None = None
        self._work = threading.Thread(target=self._run, name="work", daemon=True)
        self._face = StartingFace(args.survey.name, self._work.start)
        self._app = screen_of(args.survey, self._face)

    def run(self) -> int:
        try:
            with defects_of_threads(self._defect) as defects:
                shown_whole(self._app)
        finally:
            self._leave()
        if self._ended_by is not None:
            raise self._ended_by
        return told_at_the_end(defects)

    def _leave(self) -> None:
        """Finish what was typed before; then print the messages of the work."""
        self._leaving.set()
        if self._work.ident is not None:  # it was begun
            self._work.join()
        else:
            self._child.kill()
        if self._left:
            print(self._left)
        for line in self._told:
            print(f"callout: {line}", file=sys.stderr)
        if lost := self._face.lines:
            print(f"callout: not taken: {'; '.join(lost)}", file=sys.stderr)

    def _run(self) -> None:
        try:
            from callout.cli.field.listen_work import work

            self._left = work(self._args, self._face, self._leaving, self._told.append, self._child)
        except BaseException as error:
            self._ended_by = error
        finally:
            self._app.left()

    def _defect(self, says: str) -> None:
        self._face.fault("defect", as_is(says))
