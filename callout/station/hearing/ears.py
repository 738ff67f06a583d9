"""A microphone that may fail: opened, watched, and reopened when it comes back.

The listener sees one continuous stream, however many microphones it took: times go on, and a gap in
them shows where sound was lost. A microphone that changed (a headset's other profile, another
default) is reopened at once. Endpointing and recognition are done elsewhere.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Protocol

from callout.core.errors import DeviceError
from callout.core.saying import saying
from callout.sound.frames import Frame
from callout.sound.pulse import SleptError, SourceChangedError
from callout.station.hearing.listening import Listening
from callout.station.hearing.sound_watch import SoundWatch
from callout.station.speaking.silent_echo import Echo
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.faults import RECOGNISER, Faults

NAME = "microphone"
SLOW_S = 5.0
SLOW = saying("recogniser-slow")
RETRY_S = 2.0
CHANGED = saying("microphone-changed")
# A headset that changes its profile is briefly absent: no fault is reported until then.
_CHANGE_S, _SOON_S = 3.0, 0.25
# A dead stream may come back with the next default, or the headset's other profile.
_DEAD_AGAIN_S = 15.0
# Longer than half a frame: the endpointer then joins nothing across it.
_GAP_S = 0.5


class Microphone(Protocol):
    """What is needed of a capture device."""

    name: str

    @property
    def now_s(self) -> float: ...
    @property
    def captured_s(self) -> float: ...
    def frames(self) -> Iterator[Frame]: ...
    def close(self) -> None: ...


OpenMicrophone = Callable[[], Microphone]


class _Shifted:
    """The clock of one microphone in a stream that began before it."""

    def __init__(self, microphone: Microphone, base_s: float) -> None:
        self._microphone, self._base_s = microphone, base_s

    @property
    def now_s(self) -> float:
        return self._base_s + self._microphone.now_s

    @property
    def captured_s(self) -> float:
        return self._base_s + self._microphone.captured_s


class Ears:
    """Use ``run`` from one thread, until told to leave."""

    def __init__(
        self,
        listening: Listening,
        echo: Echo,
        faults: Faults,
        clock: Clock,
        open_microphone: OpenMicrophone,
    ) -> None:
        self._listening, self._echo = listening, echo
        self._faults, self._clock = faults, clock
        self._open = open_microphone
        self._watch = SoundWatch()
        self._base_s = 0.0
        self._changed_at_s: float | None = None
        self._tells_change = False
        self._slow: threading.Timer | None = None
        self._taking = False
        self._beat: Callable[[], None] = lambda: None
        self._opened: Callable[[str], None] = lambda name: None
        listening.on_utterance(self._watch.utterance)
        listening.on_asking(self._asking)

    def on_beat(self, beat: Callable[[], None]) -> None:
        """Call ``beat`` whenever hearing made progress, or waits normally for a microphone."""
        self._beat = beat

    def on_open(self, opened: Callable[[str], None]) -> None:
        """Call ``opened`` with the name of each microphone that was opened."""
        self._opened = opened

    def run(self, leaving: threading.Event, must_open: bool = False) -> None:
        """Hear until told to leave.

        ``must_open`` raises DeviceError if there is no microphone at the start.
        """
        first, gone = must_open, False
        while not leaving.is_set():
            self._beat()
            try:
                microphone = self._open()
                first = gone = False
                self._hear(microphone, leaving)
            except SourceChangedError as error:
                self._changed_at_s = time.monotonic()
                # The clock reports sleep.
                self._tells_change = not isinstance(error, SleptError)
                leaving.wait(_SOON_S)
            except DeviceError as error:
                if first:
                    raise
                if self._changing:
                    leaving.wait(_SOON_S)
                    continue
                # First it is silent, then it is missing: one state, spoken once.
                says = saying("typing-goes-on", what=error.saying)
                self._faults.report(NAME, says, aloud=not gone)
                leaving.wait(RETRY_S if gone else min(RETRY_S, _SOON_S))
                gone, self._changed_at_s = True, None

    @property
    def _changing(self) -> bool:
        """Whether it changed just now, and may be back soon."""
        at_s = self._changed_at_s
        return at_s is not None and time.monotonic() - at_s < _CHANGE_S

    def _hear(self, microphone: Microphone, leaving: threading.Event) -> None:
        self._watch.anew()
        stream = _Shifted(microphone, self._base_s)
        base_s = self._base_s
        try:
            self._opened(microphone.name)
            self._echo.heard_by(stream)
            for frame in microphone.frames():
                if leaving.is_set():
                    return
                self._beat()
                self._listening.anchor(self._clock.now() - timedelta(seconds=stream.now_s))
                moved = Frame(frame.samples, base_s + frame.start_s)
                self._base_s = moved.end_s + _GAP_S
                self._watch.frame(frame.samples)
                self._faults.report(NAME, self._watch.wrong)
                self._tell_changed()
                self._take(moved)
                if self._dead_too_long():
                    return  # and reopen the current microphone
        finally:
            microphone.close()
        if not leaving.is_set():
            raise SourceChangedError(saying("microphone-ended", name=microphone.name))

    def _tell_changed(self) -> None:
        if self._changed_at_s is not None:
            self._changed_at_s = None
            if self._tells_change:
                self._faults.tell(NAME, CHANGED)

    def _take(self, frame: Frame) -> None:
        self._taking = True
        try:
            self._listening.take(frame)
        finally:
            self._taking = False
            self._answered()

    def _answered(self) -> None:
        slow, self._slow = self._slow, None
        if slow is None:
            return
        slow.cancel()
        slow.join()
        if self._faults.now.get(RECOGNISER) == SLOW:
            self._faults.report(RECOGNISER, None)

    def _asking(self) -> None:
        """The recogniser is asked now; nobody should wait for long without a word."""
        if not self._taking:
            return  # from a recording, which nobody waits for
        self._answered()
        self._slow = threading.Timer(SLOW_S, self._faults.report, (RECOGNISER, SLOW))
        self._slow.daemon = True
        self._slow.start()

    def _dead_too_long(self) -> bool:
        return self._watch.silent_s >= _DEAD_AGAIN_S
