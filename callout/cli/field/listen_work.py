"""The work behind the screen of ``callout listen``: station, post, and the thread that hears."""

from __future__ import annotations

import argparse
import threading
from collections.abc import Callable

from callout.cli.field.day import Day, day_of
from callout.core.errors import CalloutError
from callout.core.saying import saying
from callout.journal.folder import SurveyFolder, open_survey
from callout.station.hearing.ears import NAME
from callout.station.hearing.launching import Child
from callout.station.post import Post, Told
from callout.station.showing.leaving import Tally
from callout.station.showing.presenter import StationFace
from callout.station.starting import StartingFace


def work(
    args: argparse.Namespace,
    shown: StartingFace,
    leaving: threading.Event,
    tell: Callable[[str], None],
    child: Child,
) -> str:
    """Make the station, pass it to the screen, and work until ``leaving``; returns the summary.

    Raises CalloutError if the work cannot begin.
    """
    folder = open_survey(args.survey)
    if leaving.is_set() and not shown.lines:
        return ""  # left while it was starting: there is nothing to report
    with day_of(args, folder, tell, child) as day:
        if leaving.is_set() and not shown.lines:
            return ""
        tally = Tally(day.station)
        _work(folder, day, shown, leaving)
        return day.station.wording.shown(*tally.told())


def _work(folder: SurveyFolder, day: Day, shown: StartingFace, leaving: threading.Event) -> None:
    post = Post(folder, day.station, day.clock, day.work)
    face = StationFace(day.station, post.echo.mute, day.work.muted)
    hearing = threading.Thread(
        target=_listen, args=(post, face, day, leaving), name="listening", daemon=True
    )
    try:
        post.begin(told_by(face))
        face.by_tape(post.tapes.typed)
        face.by_key(post.talk)
        shown.became(face)
        hearing.start()
        leaving.wait()
    finally:
        if hearing.ident is not None:  # it was begun
            hearing.join(timeout=2)
        face.close()
        post.close()


def told_by(face: StationFace) -> Told:
    """The messages of a post, shown on ``face``."""
    return Told(
        fault=face.fault, sounding=face.sounding, device=face.notice(face.fault), level=face.level
    )


def _listen(post: Post, face: StationFace, day: Day, leaving: threading.Event) -> None:
    """Hear until the sound ends or the person leaves; a fault is shown, typing goes on."""
    try:
        post.listen(leaving)
        if day.work.frames is not None:
            face.fault(NAME, saying("still-typing", what=saying("recording-ended")))
    except CalloutError as error:
        face.fault(NAME, saying("still-typing", what=error.saying))
