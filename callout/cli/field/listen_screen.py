"""The terminal screen of ``callout listen``: sound on one thread, the screen on the main one."""

from __future__ import annotations

import threading
from datetime import date
from typing import TYPE_CHECKING

from callout.cli.crashes import defects_of_threads, told_at_the_end
from callout.core.errors import CalloutError
from callout.core.saying import as_is, saying
from callout.journal.folder import SurveyFolder
from callout.station.face import Face
from callout.station.hearing.ears import NAME
from callout.station.post import Post, Told, Work
from callout.station.presenter import StationFace
from callout.station.safety import kept_told, shown_today
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.wording.language_files import load_wording

if TYPE_CHECKING:
    from callout.terminal.app import CalloutApp


def run_screen(folder: SurveyFolder, station: Station, clock: Clock, work: Work) -> int:
    """Show the screen until the person leaves."""
    from callout.terminal.screen_running import shown_whole

    post = Post(folder, station, clock, work)
    face = StationFace(station, post.echo.mute, work.muted)
    leaving = threading.Event()
    hearing = threading.Thread(
        target=_listen, args=(post, face, work, leaving), name="listening", daemon=True
    )
    try:
        post.begin(told_by(face))
        face.by_tape(post.tapes.typed)
        face.by_key(post.talk)
        app = screen_of(folder, face)
        with defects_of_threads(lambda says: face.fault("defect", as_is(says))) as defects:
            hearing.start()
            shown_whole(app)
    finally:
        leaving.set()
        if hearing.is_alive():
            hearing.join(timeout=2)
        face.close()
        post.close()
    return told_at_the_end(defects)


def screen_of(folder: SurveyFolder, face: Face) -> CalloutApp:
    """The screen for ``face``; the day's first one begins with safety and what is kept."""
    from callout.terminal.app import CalloutApp

    config = folder.config()
    kept = load_wording(config.language).shown(kept_told(config.keeping))
    unseen = not shown_today(folder.path, date.today())  # noqa: DTZ011
    return CalloutApp(face, safety=unseen, kept=kept)


def told_by(face: StationFace) -> Told:
    """What a post has to tell, shown on ``face``."""
    return Told(
        fault=face.fault,
        device=face.notice(face.fault),
        level=face.level,
    )


def _listen(post: Post, face: StationFace, work: Work, leaving: threading.Event) -> None:
    """Hear until the sound ends or the person leaves; a fault is shown, typing goes on."""
    try:
        post.listen(leaving)
        if work.frames is not None:
            face.fault(NAME, saying("still-typing", what=saying("recording-ended")))
    except CalloutError as error:
        face.fault(NAME, saying("still-typing", what=error.saying))
