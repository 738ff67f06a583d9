"""Brings digital tapes to a station: presses meet spoken tags by the joining rules.

Items from devices and news from the station meet in one queue, worked off by one thread, so that
the joining rules see one event at a time. The rules are ``devices.join``'s, not ours.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from datetime import datetime

from callout.core.events import Heard, Save
from callout.core.meaning import Meaning
from callout.devices.join import (
    Dropped,
    Joined,
    JoinEvent,
    JoinState,
    Pressed,
    Rules,
    SetAside,
    Settled,
    TagNamed,
    Ticked,
    step,
)
from callout.devices.measurement import DeviceNotice, Item, Measurement
from callout.devices.running import DeviceThread
from callout.devices.settings import devices_from
from callout.devices.wedge import Wedge, typed_by_device
from callout.journal.config import Config
from callout.station.station import Done, Station

TellNotice = Callable[[DeviceNotice], None]
_TICK_S = 1.0
_NAMING = ("tree", "reading", "new", "status")
_DROPPING = ("reject", "scratch")


class TapeDesk:
    """Takes items from any thread; ``notice`` is told what people should see of the devices."""

    def __init__(self, station: Station, rules: Rules, notice: TellNotice) -> None:
        self._station, self._rules, self._notice = station, rules, notice
        self._state = JoinState()
        self._work: queue.Queue[Item | Done | None] = queue.Queue()
        self._thread = threading.Thread(target=self._run, name="tapes", daemon=True)
        station.watch(self._work.put)
        self._thread.start()

    def put(self, item: Item) -> None:
        """Something a device said; returns at once."""
        self._work.put(item)

    def close(self) -> None:
        """Finish what was pressed, then stop."""
        self._work.put(None)
        self._thread.join(timeout=10)

    def _run(self) -> None:
        while True:
            try:
                item = self._work.get(timeout=_TICK_S)
            except queue.Empty:
                self._feed(Ticked(datetime.now().astimezone()))
                continue
            if item is None:
                return
            if isinstance(item, DeviceNotice):
                self._notice(item)
            elif isinstance(item, Measurement):
                self._feed(Pressed(item))
            else:
                for event in join_events(item):
                    self._feed(event)

    def _feed(self, event: JoinEvent) -> None:
        self._state, effects = step(self._state, event, self._rules)
        for effect in effects:
            press = effect.measurement
            if isinstance(effect, Joined):
                meaning = Meaning("reading", effect.tag, press.value, press.unit, scale=press.scale)
                self._station.measure(_text(press), meaning, press.device, press.received_at)
            elif isinstance(effect, SetAside):
                self._station.set_aside(_text(press), press.device, effect.why)
            else:
                meaning = Meaning("press", None, press.value, press.unit, scale=press.scale)
                self._station.measure(_text(press), meaning, press.device, press.received_at)


class Tapes:
    """The survey's devices at work; nothing runs where it names none."""

    def __init__(self, station: Station, config: Config, notice: TellNotice) -> None:
        devices = devices_from(config.other.get("device", []))
        self._wedges = [Wedge(one) for one in devices if one.transport == "wedge"]
        self._desk: TapeDesk | None = None
        self._thread: DeviceThread | None = None
        if devices:
            self._desk = TapeDesk(station, Rules(config.listening.join_s), notice)
            self._thread = DeviceThread(devices, self._desk.put)
            self._thread.start()

    def typed(self, text: str, keys_s: tuple[float, ...]) -> bool:
        """Whether a line was typed by a keyboard wedge; if so it goes the way of a press."""
        if not self._wedges or self._desk is None or not typed_by_device(keys_s):
            return False
        now = datetime.now().astimezone()
        for wedge in self._wedges:
            for taken in wedge.typed(text, now, keys_s[-1]):
                if isinstance(taken, Measurement):
                    self._desk.put(taken)
                    return True
        return False

    def close(self) -> None:
        """Let the devices go, then finish what was pressed."""
        if self._thread is not None:
            self._thread.stop()
        if self._desk is not None:
            self._desk.close()


def join_events(done: Done) -> list[JoinEvent]:
    """What something done at the station means to the joining rules."""
    event = done.event
    if not isinstance(event, Heard) or event.source == "tape":
        return []
    at = datetime.fromisoformat(event.at)
    if any(isinstance(effect, Save) for effect in done.effects):
        return [Settled(at)]
    meaning = event.meanings[0] if len(event.meanings) == 1 else None
    if meaning is None or event.problem:
        return []
    if meaning.kind in _DROPPING:
        return [Dropped(at)]
    if meaning.kind in _NAMING and meaning.tag:
        return [TagNamed(at, meaning.tag)]
    return []


def _text(press: Measurement) -> str:
    """The line as it came; a binary one by what it means."""
    text = press.raw.decode("ascii", "replace").strip()
    readable = text.isascii() and text.isprintable() and text
    return text if readable else f"{press.value} {press.unit.value}"
