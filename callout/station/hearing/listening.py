"""Feeds sound to a station: frames from a file or a microphone, cut into utterances.

A file takes the same path as a microphone, only faster. Reminders run on the stream's own time, so
a file gives the same journal however fast it is read. If the whole session is kept, every frame
that may be heard is stored first.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from callout.core.saying import saying
from callout.journal.session_sound import SessionSound
from callout.sound.endpoint import Discarded, Endpointer, Reason
from callout.sound.frames import Frame, Samples, Utterance
from callout.sound.own.onset import Onset
from callout.sound.own.own_voice import OwnVoice
from callout.sound.own.spoken_over import SpokenOver
from callout.station.deciding import AsHeard
from callout.station.done import Done
from callout.station.hearing.talking import TalkKey
from callout.station.speaking.spoken_turns import AGAIN, OVER, OVER_VOICE
from callout.station.station import Station

QUESTION = "ask"
_SLOW_S = 0.4
"""A recogniser that takes longer is not asked at a short pause: nothing would be gained."""
_WHY = {Reason.GAP: saying("sound-lost"), Reason.TOO_LONG: saying("too-long")}


class Listening:
    """One stream of frames into one station. Use from one thread."""

    def __init__(
        self,
        station: Station,
        endpointer: Endpointer,
        began: datetime,
        reminder_s: float,
        level: Callable[[float, bool], None] | None = None,
        set_aside: Callable[[Discarded], None] | None = None,
        keep: SessionSound | None = None,
        talk: TalkKey | None = None,
        over: SpokenOver | None = None,
        own: OwnVoice | None = None,
    ) -> None:
        """``own``: hearing goes on while our own voice sounds; else the gate is closed by then."""
        self._station, self._endpointer = station, endpointer
        self._began, self._reminder_s = began, reminder_s
        self._level, self._set_aside = level, set_aside
        self._keep, self._talk = keep, talk
        self._over, self._own = over or SpokenOver(), own
        self._onset, self._was_cut = Onset(), False
        self._cut_about: int | None = None
        self._asked_at_s: float | None = None
        self._watch_sound: Callable[[Samples, float], None] = lambda samples, floor_dbfs: None
        self._watch_asked: Callable[[], None] = lambda: None
        self._took_s, self._waited_for = 0.0, True
        self._now_s, self._was_open = 0.0, False
        station.watch(self._watch)

    def anchor(self, began: datetime) -> None:
        """The wall-clock time of this stream's second 0, by the present clock."""
        self._began = began

    def on_utterance(self, watch: Callable[[Samples, float], None]) -> None:
        """Call ``watch`` with every utterance: its samples, and the noise around it (dBFS)."""
        self._watch_sound = watch

    def on_asking(self, watch: Callable[[], None]) -> None:
        """Tell ``watch`` whenever the recogniser is to be asked."""
        self._watch_asked = watch

    def take(self, frame: Frame) -> None:
        """Take one frame; an utterance that it ends goes to the station."""
        self._now_s = frame.end_s
        is_open = self._talk is None or self._talk.take(frame.start_s, self._endpointer.speaking)
        if is_open:
            self._take_open(frame)
        else:
            self._take_closed(frame)
        self._was_open = is_open
        if self._level is not None:
            self._level(frame.level_dbfs, self._endpointer.speaking)
        self._remind()

    def _take_open(self, frame: Frame) -> None:
        if self._keep is not None:
            at = self._began + timedelta(seconds=frame.start_s)
            echo = self._endpointer.muted(frame)
            self._keep.take(frame.samples.tobytes(), frame.start_s, at, echo)
        if self._own is not None:
            frame = self._own.take(frame)
        for utterance in self._endpointer.push(frame):
            self._hear(utterance)
        self._cut_if_spoken_over(frame)
        self._end_if_whole()
        echo = self._endpointer.muted(frame)
        cut = self._tell_discarded()
        if cut and echo:
            self._over.cut()
        if self._was_cut and not self._endpointer.speaking:
            self._was_cut = False  # it was too short for anything
            self._station.say(OVER_VOICE, AGAIN)
        goes_on = self._endpointer.begun_under_echo
        voiced = self._endpointer.voiced
        self._tell_over(self._over.take(frame, voiced=voiced, echo=echo, goes_on=goes_on))

    def _cut_if_spoken_over(self, frame: Frame) -> None:
        """The voice falls silent for whoever begins to speak, once for what it asks.

        Once: a voice that hears itself would cut itself for ever.
        """
        if self._own is None:
            return
        voiced, sounds = self._endpointer.voiced, self._own.sounds(frame)
        begun = self._onset.take(frame, voiced=voiced, sounds=sounds)
        memory = self._station.memory
        if begun and memory.asking != self._cut_about and not memory.paused:
            self._was_cut, self._cut_about = True, memory.asking
            self._station.cut_voice()

    def _tell_over(self, found: Utterance | None) -> None:
        """Somebody spoke over the voice: only signal that it was not taken."""
        if found is None:
            return
        if self._set_aside is not None:
            self._set_aside(Discarded(found, Reason.ECHO))
        self._station.say(OVER_VOICE, OVER)

    def _take_closed(self, frame: Frame) -> None:
        """Nothing is heard or kept; only the noise is tracked, so that the next press hears."""
        if self._was_open:
            self.finish()  # pressed again while speaking: what was said so far is the callout
        self._endpointer.pass_over(frame)
        self._over.pass_over(frame)

    def finish(self) -> None:
        """The stream ended: an utterance under way is heard as it is."""
        for utterance in self._endpointer.flush():
            self._hear(utterance)
        self._tell_discarded()
        self._tell_over(self._over.finish())
        if self._keep is not None:
            self._keep.cut()

    def close(self) -> None:
        """No more frames come: finish storing the session's sound, hear nothing more."""
        if self._keep is not None:
            self._keep.cut()

    def run(self, frames: Iterable[Frame], realtime: bool = False) -> None:
        """Take every frame; ``realtime`` waits for the time when each was spoken."""
        started = time.monotonic()
        self._waited_for = realtime
        for frame in frames:
            if realtime:
                time.sleep(max(0.0, started + frame.end_s - time.monotonic()))
            self.take(frame)
        self.finish()

    def _end_if_whole(self) -> None:
        """At a short pause: what is whole already is not kept waiting for a longer one."""
        if self._waited_for and self._took_s > _SLOW_S:
            return
        utterance = self._endpointer.so_far()
        if utterance is not None and self._asked(utterance, if_whole=True):
            self._endpointer.end()
            self._given_out(utterance)

    def _hear(self, utterance: Utterance) -> None:
        self._asked(utterance)
        self._given_out(utterance)

    def _asked(self, utterance: Utterance, if_whole: bool = False) -> bool:
        """Whether the station took it up."""
        self._watch_asked()
        started = time.perf_counter()
        taken = self._station.hear(
            utterance.samples,
            at=self._began + timedelta(seconds=utterance.end_s),
            began=self._began + timedelta(seconds=utterance.start_s),
            how=AsHeard(if_whole, self._is_over_voice(utterance), self._was_cut),
        )
        self._took_s = time.perf_counter() - started
        return taken

    def _is_over_voice(self, utterance: Utterance) -> bool:
        """Whether our own voice may have sounded while it was said; its lead-in aside."""
        began_s = utterance.start_s + self._endpointer.settings.pre_roll_s
        return self._own is not None and self._own.sounded(began_s, utterance.end_s)

    def _given_out(self, utterance: Utterance) -> None:
        self._was_cut = False
        self._watch_sound(utterance.samples, self._endpointer.noise_floor_dbfs)
        if self._talk is not None:
            self._talk.heard()

    def _tell_discarded(self) -> bool:
        """Report whether anything was discarded because of the echo."""
        found = False
        for item in self._endpointer.take_discarded():
            if item.reason in _WHY:
                self._station.say(saying("say-it-again-why", why=_WHY[item.reason]))
            found = found or item.reason is Reason.ECHO
            if self._set_aside is not None:
                self._set_aside(item)
        return found

    def _watch(self, done: Done) -> None:
        asks = [getattr(effect, "tone", "") == QUESTION for effect in done.effects]
        self._asked_at_s = self._now_s if any(asks) else None

    def _remind(self) -> None:
        waiting = self._asked_at_s
        if waiting is not None and not self._endpointer.speaking:
            if self._now_s - waiting < self._reminder_s:
                return
            self._asked_at_s = None
            self._station.time_out(self._began + timedelta(seconds=self._now_s))
