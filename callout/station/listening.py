"""Feeds sound to a station: frames from a file or a microphone, cut into utterances.

A file goes through the very same path as a microphone, only faster. Reminders run on the
stream's own time, so a file gives the same journal however fast it is read.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from callout.sound.endpoint import Discarded, Endpointer, Reason
from callout.sound.frames import Frame, Utterance
from callout.station.station import Done, Station

QUESTION = "ask"
# Speech over our own echo is only shown: a late echo would answer itself without end.
_SAID_ALOUD = (Reason.GAP, Reason.TOO_LONG)


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
    ) -> None:
        self._station, self._endpointer = station, endpointer
        self._began, self._reminder_s = began, reminder_s
        self._level, self._set_aside = level, set_aside
        self._asked_at_s: float | None = None
        self._now_s = 0.0
        station.watch(self._watch)

    def take(self, frame: Frame) -> None:
        """One frame: whatever utterance it ends goes to the station."""
        self._now_s = frame.end_s
        for utterance in self._endpointer.push(frame):
            self._hear(utterance)
        self._tell_discarded()
        if self._level is not None:
            self._level(frame.level_dbfs, self._endpointer.speaking)
        self._remind()

    def finish(self) -> None:
        """The stream ended: what was under way is heard as it is."""
        for utterance in self._endpointer.flush():
            self._hear(utterance)

    def run(self, frames: Iterable[Frame], realtime: bool = False) -> None:
        """Take every frame; ``realtime`` waits so that each comes when it would be spoken."""
        started = time.monotonic()
        for frame in frames:
            if realtime:
                time.sleep(max(0.0, started + frame.end_s - time.monotonic()))
            self.take(frame)
        self.finish()

    def _hear(self, utterance: Utterance) -> None:
        self._station.hear(
            utterance.samples,
            at=self._began + timedelta(seconds=utterance.end_s),
            began=self._began + timedelta(seconds=utterance.start_s),
        )

    def _tell_discarded(self) -> None:
        for item in self._endpointer.take_discarded():
            if item.reason in _SAID_ALOUD:
                self._station.say(f"{item.reason.value}: say it again")
            if self._set_aside is not None:
                self._set_aside(item)

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
