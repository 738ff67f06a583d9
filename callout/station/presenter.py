"""Shows a station as a ``Face``: turns memory and effects into the values a screen paints.

Keys and typed words are taken on a thread of this module's own, so that a screen never waits for
the disk. No widget and no rule of the dialogue here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime

from callout.core.checking.checks import change_since, shown
from callout.core.events import Heard, Say
from callout.core.model import Plot, Reading, Tree
from callout.core.rounding import to_graduation
from callout.core.saying import Saying, Says, as_is, saying
from callout.core.told import about_told
from callout.devices.measurement import DeviceNotice, NoticeKind
from callout.session.machine import tree_in_hand
from callout.session.state import Memory, Pending, left_to_do
from callout.session.tags import tag_shown
from callout.session.walk import next_tree
from callout.station.done import Done
from callout.station.face import Level, SavedLine, Update, View
from callout.station.hearing.talking import TalkKey
from callout.station.station import Station
from callout.station.upkeep.notices import CLOCK, HOLDER, SETTINGS

RECENT = 8
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
        self._batteries: dict[str, str] = {}
        self._listeners: list[Callable[[Update], None]] = []
        self._talk: TalkKey | None = None
        self._tape: TakesTyped = lambda text, keys_s: False
        self._waits, self._counting = 0, threading.Lock()
        self._hands = ThreadPoolExecutor(1, thread_name_prefix="hands")
        station.watch(self._watch)

    def view(self) -> View:
        """The present state."""
        shown = view_of(
            self._station, said=self._said, heard=self._heard, tone=self._tone,
            muted=self._muted, faults=tuple(
                self._part(says) for name, says in self._faults.items() if name not in HINTS
            ),
        )  # fmt: skip
        hints = tuple(self._part(says) for name, says in self._faults.items() if name in HINTS)
        talk = "" if self._talk is None else "open" if self._talk.is_open else "closed"
        engine = "; ".join([shown.engine, *self._batteries.values()])
        return replace(
            shown, engine=engine, talk=talk, hints=hints, sounding=self._sounding,
            paused=self._station.memory.paused,
            remedies=tuple(kind for kind, names in _REMEDIES.items() if names & set(self._faults)),
        )  # fmt: skip

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
        self._batteries[device] = f"{device} battery {percent} %"
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
            self._heard = done.event.words
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


def view_of(
    station: Station, *, said: Says, heard: str, tone: str, muted: bool, faults: tuple[str, ...]
) -> View:
    """A station's state as plain text in the plot's own unit."""
    memory, plot = station.memory, station.plot
    pending = memory.pending
    warned = pending.warned if pending else ()
    tree = tree_in_hand(memory, plot)
    left = left_to_do(memory, plot)
    engine = station.engine
    blind = station.survey.rules_of(memory.plot).blind
    wording, about = station.wording, about_told(plot.settings)
    return View(
        plot=memory.plot,
        who=memory.who,
        unit=plot.settings.unit.value,
        about="" if about is None else wording.part(about),
        phase=memory.phase.value,
        waiting=memory.asking,
        tag=_tag(memory, pending),
        species=pending.draft.species if pending else (tree.species if tree else ""),
        value=_text(pending.draft) if pending else "",
        status=pending.draft.status if pending else "",
        before="" if blind else _before(tree),
        change="" if blind else _change(pending, tree, plot),
        warnings=tuple(wording.part(item.says) for item in warned),
        wants_accept=pending is not None and pending.wants_accept,
        looks=tuple(wording.part(item.look) for item in warned if item.look),
        said=wording.shown(*said),
        answer=_answer(said),
        heard=heard,
        tone=tone,
        left=left,
        next_tag=_next(memory, plot) if station.survey.rules_of(memory.plot).walk else "",
        done=len(plot.trees) - len(left),
        total=len(plot.trees),
        recent=_recent(memory),
        engine=f"{engine.name}: {engine.model}"
        if engine
        else "no recogniser: type or use the tape",
        muted=muted,
        faults=faults,
    )


def _next(memory: Memory, plot: Plot) -> str:
    """The next tree of the list, by its present tag."""
    last = memory.undoable[-1].tag if memory.undoable else ""
    tag = next_tree(memory, plot, last)
    return tag_shown(memory, memory.plot, tag) if tag is not None else ""


def _answer(said: Says) -> str:
    """The key of the first message; with the tag, if that was saved."""
    if not said:
        return ""
    reading = said[0]["reading"] if said[0].key == "saved" else None
    parts = reading["parts"] if isinstance(reading, Saying) else ()
    first = parts[0] if isinstance(parts, tuple) and parts else None
    return f"saved {first['tag']}" if first is not None else said[0].key


def _tag(memory: Memory, pending: Pending | None) -> str:
    if pending is None:
        return tag_shown(memory, memory.plot, memory.named) if memory.named else ""
    draft = pending.draft
    return f"{draft.tag_now} stem {draft.stem}" if draft.stem else draft.tag_now


def _text(reading: Reading) -> str:
    return "" if reading.value is None else str(reading.value)


def _before(tree: Tree | None) -> str:
    if tree is None or tree.last is None:
        return ""
    last = tree.last
    return f"{last.value} {last.unit.value}, {last.on.isoformat()}"


def _change(pending: Pending | None, tree: Tree | None, plot: Plot) -> str:
    if pending is None or pending.draft.value is None or tree is None or tree.last is None:
        return ""
    settings = plot.settings
    change = change_since(pending.draft.value, settings.unit, tree.last)
    size = to_graduation(abs(change), settings.graduation, settings.rounding)
    if size == 0:
        return "no change"
    return f"{'up' if change > 0 else 'down'} {shown(size)}"


def _recent(memory: Memory) -> tuple[SavedLine, ...]:
    here = [item for item in memory.undoable if item.plot == memory.plot]
    return tuple(_line(item) for item in reversed(here[-RECENT:]))


def _line(reading: Reading) -> SavedLine:
    told = _text(reading) or reading.status_told
    return SavedLine(
        tag=f"{reading.tag_now} stem {reading.stem}" if reading.stem else reading.tag_now,
        told=told,
        unit=reading.unit.value if reading.value is not None else "",
        time=datetime.fromisoformat(reading.at).strftime("%H:%M"),
        warned=bool(reading.warnings),
    )
