"""One working post: station, echo, tapes, microphone and their monitoring, wired once.

The screen, the headless command and the daemon all work through it; they differ in who is told.
"""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from callout.core.events import Heard, Opened, Save
from callout.core.saying import Saying, saying
from callout.core.told import span_told
from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.journal.folder import SurveyFolder
from callout.sound.endpoint import Discarded
from callout.sound.frames import Frame
from callout.sound.own.spoken_over import SpokenOver
from callout.speech.engine import RunsApart
from callout.station.build import endpointer_for, own_voice
from callout.station.done import Done
from callout.station.hearing.beside import Played, with_played
from callout.station.hearing.ears import Ears, Microphone, OpenMicrophone
from callout.station.hearing.keeping import session_sound
from callout.station.hearing.listening import Listening
from callout.station.hearing.talking import TalkKey
from callout.station.hearing.unheard import unheard_told
from callout.station.speaking.check_in import CheckIn
from callout.station.speaking.how_much import is_new_to, knows_it, settled
from callout.station.speaking.silent_echo import Echo
from callout.station.speaking.spoken_echo import make_echo
from callout.station.station import Station
from callout.station.tapes import Tapes
from callout.station.typed_words import keepable
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.faults import RECOGNISER, SPACE, Faults
from callout.station.upkeep.notices import notices

VOICE, DISK = "voice", "disk"
LOW_DISK_MB = (1, 5, 20, 50, 100)
"""Each is reported once, when crossed downwards. A day's sound is some tens of megabytes."""
CHECK_IN, WORDS = "check-in", "words"
CHECK_S = 10.0
# Species that cannot be heard: not a fault to show on the screen all day.
NAMES_SHOWN_S = 60.0


def _nothing(*_: Any) -> None:
    """The default listener: does nothing."""


@dataclass(frozen=True)
class Told:
    """Whom to tell what, besides the station's own watchers; all optional."""

    fault: Callable[[str, Saying | None], None] = _nothing
    device: Callable[[DeviceNotice], None] = _nothing
    sounding: Callable[[bool], None] = _nothing
    set_aside: Callable[[Discarded], None] = _nothing
    level: Callable[[float, bool], None] | None = None
    microphone: Callable[[str], None] = _nothing


@dataclass(frozen=True)
class Work:
    """Who works where, and what is heard: a recording's ``frames``, or the microphone.

    ``silent`` speaks no echo at all, as fits a recording that is read faster than it was spoken.
    """

    plot: str
    who: str
    frames: Iterable[Frame] | None = None
    played: Played | None = None
    """What the loudspeaker played while ``frames`` were recorded, if known."""
    realtime: bool = False
    silent: bool = False
    muted: bool = False
    without_engine: Saying | None = None
    """Why there is no recogniser, if there is none."""


class Post:
    """Made, then begun; from ``begin`` on, typing and tapes work; ``listen`` hears."""

    def __init__(self, folder: SurveyFolder, station: Station, clock: Clock, work: Work) -> None:
        self._folder, self._clock, self._work = folder, clock, work
        config = self._config = folder.config()
        self._endpointer = endpointer_for(self._config.listening)
        self._leaving, self._ends = threading.Event(), ExitStack()
        self._names_until_s: float | None = None
        self.station = station
        self._over = SpokenOver()
        live = work.frames is None
        hears_on = live and not work.silent
        self._own, self._half_duplex = own_voice(
            self._config.listening.duplex if hears_on else "half"
        )
        self.echo: Echo = make_echo(
            config.speaking, self._endpointer, work.silent, station.wording, self._over, self._own
        )
        self.echo.mute(work.muted)
        self.talk = TalkKey() if self._config.listening.push_to_talk and live else None

    def begin(self, to: Told) -> None:
        """Open the plot and start everything. Raises CalloutError if that fails."""
        station, listening = self.station, self._config.listening
        self.faults = Faults(self._say, to.fault)
        self.echo.on_fault(lambda says: self.faults.report(VOICE, says))
        self.echo.on_sounding(to.sounding)
        if self._half_duplex is not None:
            self.faults.report(VOICE, self._half_duplex, aloud=False)
        if self._own is not None:
            self._hear_on()
        station.watch(self.echo.tell)
        station.on_disk(self._disk)
        if isinstance(station.engine, RunsApart):
            station.engine.patient = self._work.frames is not None
            station.engine.on_trouble(lambda says: self.faults.report(RECOGNISER, says))
        self._check_in = CheckIn(listening.check_in_s, time.monotonic())
        station.watch(self._answered)
        self._clock.on_move(self._moved)
        self._clock.on_sleep(self._slept)
        self._clock.on_zone(self._zoned)
        began = datetime.now().astimezone()
        with self._folder.reading() as reader:
            told = notices(reader, station.survey, began)
            self._worked = reader.worked(keepable(self._work.who))
        station.watch(self._opened)
        station.open(self._work.plot, self._work.who, began)
        for name, says in told.items():
            self.faults.report(name, says)
        station.noting.ask(told, lambda: self._all_noted(told))
        self._listening = Listening(
            station,
            self._endpointer,
            began,
            listening.reminder_s,
            to.level,
            to.set_aside,
            keep=session_sound(self._folder, station, self._config.keeping),
            talk=self.talk,
            over=self._over,
            own=self._own,
        )
        self._ends.callback(self._listening.close)
        if self._work.without_engine is not None:
            self.faults.report(RECOGNISER, saying("type-or-tape", what=self._work.without_engine))
        if (unheard := unheard_told(station.engine, station.language)) is not None:
            self.faults.report(WORDS, unheard.shown, aloud=False)
            if unheard.spoken is not None:
                station.say(unheard.spoken, "told")
            else:
                self._names_until_s = time.monotonic() + NAMES_SHOWN_S
        opened = _opener(listening.microphone)
        self.ears = Ears(self._listening, self.echo, self.faults, self._clock, opened)
        self.ears.on_open(to.microphone)
        # Others show a tape's state; here it is only spoken.
        self._of_tapes, self._to_device = Faults(self._say, _nothing), to.device
        self.tapes = Tapes(station, self._config, self._tape)
        self._ends.callback(self.tapes.close)
        round_ = threading.Thread(target=self._rounds, name="rounds", daemon=True)
        round_.start()
        self._ends.callback(round_.join, timeout=5)

    def listen(self, leaving: threading.Event, must_open: bool = False) -> None:
        """Hear the recording to its end, or the microphone until told to leave.

        ``must_open`` raises DeviceError if there is no microphone at the start.
        """
        if self._work.frames is None:
            self.ears.run(leaving, must_open)
            return
        frames = self._work.frames
        if self._work.played is not None:
            frames = with_played(frames, self._work.played, self._endpointer, self._over)
        self._listening.run(_until(frames, leaving), self._work.realtime)

    def close(self) -> None:
        """Close tapes, sound and voice. The maker closes the station."""
        self._leaving.set()
        self._ends.close()
        self.echo.close()

    def _hear_on(self) -> None:
        """What is said while the voice speaks may cut it short; no yes counts before its number."""
        times, station = self.station.echo_times, self.station
        times.hears_on()
        station.watch(lambda done: times.told(done, station.memory))
        station.cut_voice = self.echo.cut
        self.echo.on_spoken(lambda done: times.spoken(done, self._clock.now()))

    # ---- what is watched ----

    def _opened(self, done: Done) -> None:
        """How much the voice says there; what is saved is what a person has done."""
        for effect in done.effects:
            if isinstance(effect, Save):
                self._worked.add((effect.reading.plot, effect.reading.at[:10]))
        if not isinstance(done.event, Opened):
            return
        here, speaking = (done.event.plot, done.event.at[:10]), self._config.speaking
        self.echo.speak_by(settled(speaking, knows_it(self._worked, here)))
        speaks = not (self._work.silent or self._work.muted)
        if speaking.echo == "auto" and speaks and is_new_to(self._worked, here):
            self._say(saying("few-words-now"))

    def _all_noted(self, told: Iterable[str]) -> None:
        for name in told:
            self.faults.report(name, None, aloud=False)

    def _say(self, says: Saying) -> None:
        self.station.say(says, "told")

    def _answered(self, done: Done) -> None:
        event = done.event
        kinds = [one.kind for one in event.meanings] if isinstance(event, Heard) else []
        if kinds == ["well"]:
            self._check_in.answered(time.monotonic())
            self.faults.report(CHECK_IN, None, aloud=False)

    def _ask_whether_well(self) -> None:
        """Spoken, and shown until it is answered."""
        words = self._check_in.due(time.monotonic())
        if words is not None:
            self.station.say(words, "told")
            self.faults.report(CHECK_IN, self._check_in.unanswered, aloud=False)

    def _disk(self, says: Saying | None) -> None:
        # The person refused hears so at once, with the reason; no need to say it twice.
        self.faults.report(DISK, says, aloud=says is None or says.key == "disk-slow")

    def _moved(self, by: timedelta) -> None:
        time = span_told(by)
        forward = by > timedelta()
        says = saying("clock-forward", time=time) if forward else saying("clock-back", time=time)
        self.faults.tell("clock", says)

    def _slept(self, lasted: timedelta) -> None:
        self.faults.tell("sleep", saying("back-after-sleep", time=span_told(lasted)))

    def _zoned(self, offset: str) -> None:
        self.faults.tell("time zone", saying("time-zone", offset=offset))

    def _tape(self, notice: DeviceNotice) -> None:
        self._to_device(notice)
        if notice.kind in (NoticeKind.LOST, NoticeKind.FAILED):
            self._of_tapes.report(notice.device, notice.says)
        elif notice.kind is NoticeKind.CONNECTED:
            self._of_tapes.report(notice.device, None)
        elif notice.kind is NoticeKind.REFUSED:
            self._of_tapes.tell(notice.device, notice.says)

    def _rounds(self) -> None:
        """Check at intervals what nobody asks about."""
        while not self._leaving.wait(CHECK_S):
            self._ask_whether_well()
            if self._names_until_s is not None and time.monotonic() > self._names_until_s:
                self.faults.report(WORDS, None, aloud=False)
            self.faults.catch_up()
            self._of_tapes.catch_up()
            if DISK in self.faults.now:
                self.station.try_disk()
            try:
                free = shutil.disk_usage(self._folder.path).free
            except OSError:
                continue  # gone: the next saving says so
            self.faults.report(SPACE, nearly_full(free))


def nearly_full(free_bytes: int) -> Saying | None:
    """The message about so little room, or nothing."""
    reached = [mb for mb in LOW_DISK_MB if free_bytes < mb * 1_000_000]
    return saying("disk-nearly-full", size=reached[0]) if reached else None


def _opener(name: str) -> OpenMicrophone:
    def opened() -> Microphone:
        from callout.sound.microphone import Microphone as Captured

        return Captured(name or None)

    return opened


def _until(frames: Iterable[Frame], leaving: threading.Event) -> Iterable[Frame]:
    for frame in frames:
        if leaving.is_set():
            return
        yield frame
