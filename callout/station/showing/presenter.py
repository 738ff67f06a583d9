"""Shows a station as a ``Face``: turns memory and effects into the values a screen paints.

Keys and typed words are taken on a thread of this module's own, so that a screen never waits for
the disk. No widget and no rule of the dialogue here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace

from callout.core.events import Heard, Say
from callout.core.saying import Saying, Says, as_is, saying
from callout.core.told import command_told
from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.station.done import Done
from callout.station.face import Level, Update, View
from callout.station.hearing.talking import TalkKey
from callout.station.showing.station_view import view_of
from callout.station.station import Station
from callout.station.upkeep.notices import CLOCK, HOLDER, SETTINGS

HINTS = frozenset({"words", SETTINGS, HOLDER})
"""States by name that are shown, and are no faults."""
_REMEDIES = {"accept": {SETTINGS, HOLDER, CLOCK}, "mute": {"voice"}}
TellFault = Callable[[str, Saying | None], None]
TakesTyped = Callable[[str, tuple[float, ...]], bool]


class StationFace:
    """One station's face. Listeners are called on whichever thread did the work."""

    def __init__(self, station: Station, mute: Callable[[bool], None], muted: bool = False) -> None:
        self._station, self._mute, self._muted = station, mute, muted
        self._said: Says = ()
        self._heard, self._tone = "", "told"
        self._faults: dict[str, Saying] = {}
        self._sounding = False
        self._batteries: dict[str, Saying] = {}
        self._listeners: list[Callable[[Update], None]] = []
        self._talk: TalkKey | None = None
        self._tape: TakesTyped = lambda text, keys_s: False
        self._waits, self._counting = 0, threading.Lock()
        self._hands = ThreadPoolExecutor(1, thread_name_prefix="hands")
        station.watch(self._watch)

    def view(self) -> View:
        """The present state."""
        now = dict(self._faults)  # another thread may tell of one meanwhile
        shown = view_of(
            self._station,
            said=self._said,
            heard=self._heard,
            tone=self._tone,
            muted=self._muted,
            faults=tuple(self._part(says) for name, says in now.items() if name not in HINTS),
        )
        hints = tuple(self._part(says) for name, says in now.items() if name in HINTS)
        talk = "" if self._talk is None else "open" if self._talk.is_open else "closed"
        engine = "; ".join(filter(None, [shown.engine, *map(self._part, self._batteries.values())]))
        return replace(
            shown,
            engine=engine,
            talk=talk,
            hints=hints,
            sounding=self._sounding,
            paused=self._station.memory.paused,
            remedies=tuple(kind for kind, names in _REMEDIES.items() if names & set(now)),
        )

    def _part(self, says: Saying) -> str:
        return self._station.wording.part(says)

    def listen(self, listener: Callable[[Update], None]) -> None:
        """Call ``listener`` on every change, first with the present state."""
        self._listeners.append(listener)
        listener(self.view())

    def submit(self, text: str, waiting: int, keys_s: tuple[float, ...] = ()) -> None:
        """A callout that was typed, or a tape's line; ``waiting`` as in ``press``."""
        self._later(lambda: self._take(text, waiting, keys_s))

    def by_tape(self, takes: TakesTyped) -> None:
        """``takes`` is asked first whether a typed line came from a tape, and then handles it."""
        self._tape = takes

    def _take(self, text: str, waiting: int, keys_s: tuple[float, ...]) -> None:
        if not self._tape(text, keys_s):
            self._station.type(text, about=waiting)

    def press(self, kind: str, waiting: int) -> None:
        """A key for a command; ``waiting`` as in the view that was answered."""
        self._later(lambda: self._station.press(kind, about=waiting))

    def mute(self, muted: bool) -> None:
        """Silence or restore the spoken echo."""
        self._muted = muted
        self._mute(muted)
        self._tell(self.view())

    def talk(self) -> None:
        """Open the microphone for one callout, or close it."""
        if self._talk is not None:
            self._talk.press()

    def by_key(self, talk: TalkKey | None) -> None:
        """``talk`` opens the microphone; None if it is always open."""
        self._talk = talk
        if talk is not None:
            talk.on_change(lambda is_open: self._tell(self.view()))

    def level(self, dbfs: float, speaking: bool) -> None:
        """The microphone's level, from whoever listens to it."""
        self._tell(Level(dbfs, speaking))

    def fault(self, name: str, says: Saying | None) -> None:
        """Something stopped working (``says`` what), or works again (None)."""
        before = dict(self._faults)
        self._faults.pop(name, None)
        if says is not None:
            self._faults[name] = says
        if self._faults != before:
            self._tell(self.view())

    def sounding(self, sounds: bool) -> None:
        """Tell the screen that the voice begins (True) or ends (False)."""
        self._sounding = sounds
        self._tell(self.view())

    def battery(self, device: str, percent: int) -> None:
        """A tape reported its battery level."""
        self._batteries[device] = saying("tape-battery", device=device, percent=percent)
        self._tell(self.view())

    def notice(self, fault: TellFault) -> Callable[[DeviceNotice], None]:
        """Take a tape's notices: its battery is shown, its faults are passed to ``fault``.

        A tape that is found or well needs no line of its own.
        """

        def taken(notice: DeviceNotice) -> None:
            if notice.battery is not None:
                self.battery(notice.device, notice.battery)
            if notice.kind is not NoticeKind.BATTERY:
                well = notice.kind is NoticeKind.CONNECTED
                fault(notice.device, None if well else notice.says)

        return taken

    def close(self) -> None:
        """Finish what was typed, then take no more."""
        self._hands.shutdown(wait=True)

    def settle(self) -> None:
        """Wait until every line and key taken so far is done."""
        self._hands.submit(int).result()

    @property
    def waits(self) -> int:
        """How many lines and keys are not done yet."""
        return self._waits

    def _count(self, by: int) -> None:
        with self._counting:
            self._waits += by

    def _later(self, work: Callable[[], None]) -> None:
        def reported(future: Future[None]) -> None:
            self._count(-1)
            error = future.exception()
            if error is not None:
                self.fault("hands", saying("not-taken-why", why=as_is(str(error))))

        self._count(1)
        self._hands.submit(work).add_done_callback(reported)

    def _watch(self, done: Done) -> None:
        if isinstance(done.event, Heard):
            words = done.event.words  # of a key: its kind
            key = done.event.source == "key"
            self._heard = self._part(command_told(words)) if key else words
        says = [effect for effect in done.effects if isinstance(effect, Say)]
        if says:
            self._said = tuple(one for say in says for one in say.says)
            # A message after a save, such as "Next 84", does not replace it.
            after = {say.tone for say in says[1:]}
            self._tone = says[0].tone if after <= {"told"} else says[-1].tone
        self._tell(self.view())

    def _tell(self, update: Update) -> None:
        for listener in self._listeners:
            listener(update)
