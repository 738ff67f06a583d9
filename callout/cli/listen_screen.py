"""The terminal screen of ``callout listen``: sound on one thread, the screen on the main one."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from datetime import date, datetime

from callout.core.errors import CalloutError
from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.journal.folder import SurveyFolder
from callout.sound.frames import Frame
from callout.station.build import endpointer_for
from callout.station.listening import Listening
from callout.station.presenter import StationFace
from callout.station.safety import shown_today
from callout.station.station import Station
from callout.station.tapes import Tapes
from callout.station.voice import Echo, make_echo


def run_screen(
    folder: SurveyFolder,
    station: Station,
    plot: str,
    who: str,
    mute: bool,
    frames: Iterable[Frame] | None,
    realtime: bool,
) -> int:
    """Show the screen until the person leaves."""
    from callout.terminal.app import CalloutApp

    config = folder.config()
    endpointer = endpointer_for(config.listening)
    muted = mute or config.speaking.muted
    live = frames is None
    echo = make_echo(config.speaking, endpointer, silent=not (live or realtime))
    echo.mute(muted)
    face = StationFace(station, echo.mute, muted)
    echo.on_fault(lambda says: face.fault("voice", says))
    station.watch(echo.tell)
    began = datetime.now().astimezone()
    station.open(plot, who, began)
    leaving = threading.Event()
    listening = Listening(station, endpointer, began, config.listening.reminder_s, face.level)
    name = config.listening.microphone
    work = threading.Thread(
        target=_listen,
        args=(listening, face, echo, name, frames, realtime, leaving),
        name="listening",
        daemon=True,
    )
    tapes = Tapes(station, config, lambda notice: _show_notice(face, notice))
    face.by_tape(tapes.typed)
    app = CalloutApp(face, safety=not shown_today(folder.path, date.today()))  # noqa: DTZ011
    work.start()
    try:
        app.run()
    finally:
        leaving.set()
        work.join(timeout=2)
        tapes.close()
        face.close()
        echo.close()
    return 0


def _show_notice(face: StationFace, notice: DeviceNotice) -> None:
    """A tape that is found or well needs no line of its own; anything else is shown."""
    well = notice.kind is NoticeKind.CONNECTED
    if notice.battery is not None:
        face.battery(notice.device, notice.battery)
    if notice.kind is not NoticeKind.BATTERY:
        face.fault(notice.device, None if well else f"{notice.device}: {notice.text}")


def _listen(
    listening: Listening,
    face: StationFace,
    echo: Echo,
    microphone: str,
    frames: Iterable[Frame] | None,
    realtime: bool,
    leaving: threading.Event,
) -> None:
    """Hear until the sound ends or the person leaves; a fault is shown, typing goes on."""
    try:
        if frames is not None:
            listening.run(_until(frames, leaving), realtime)
            face.fault("microphone", "the recording has ended; typing goes on")
            return
        from callout.sound.microphone import Microphone

        with Microphone(microphone or None) as source:
            echo.heard_by(source)
            for frame in _until(source.frames(), leaving):
                listening.take(frame)
    except CalloutError as error:
        face.fault("microphone", f"{error}; typing goes on")


def _until(frames: Iterable[Frame], leaving: threading.Event) -> Iterable[Frame]:
    for frame in frames:
        if leaving.is_set():
            return
        yield frame
