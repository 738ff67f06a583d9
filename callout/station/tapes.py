"""Brings digital tapes to a station: every press is a callout of its session.

Devices send items on any thread; they are passed on by one of our own, so that a device never waits
for the disk. The session joins a press to its tree.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

from callout.core.meaning import Meaning
from callout.devices.measurement import DeviceNotice, Item, Measurement
from callout.devices.settings import devices_from
from callout.devices.wedge import Wedge, typed_by_device
from callout.station.station import Station
from callout.survey.config import Config

if TYPE_CHECKING:
    from callout.devices.running import DeviceThread

TellNotice = Callable[[DeviceNotice], None]


class Presses:
    """Takes items from any thread; ``notice`` gets what people should see of the devices."""

    def __init__(self, station: Station, notice: TellNotice) -> None:
        self._station, self._notice = station, notice
        self._work: queue.Queue[Item | None] = queue.Queue()
        self._thread = threading.Thread(target=self._run, name="tapes", daemon=True)
        self._thread.start()

    def put(self, item: Item) -> None:
        """Take one item of a device; returns at once."""
        self._work.put(item)

    def close(self) -> None:
        """Finish the presses so far, then stop."""
        self._work.put(None)
        self._thread.join(timeout=10)

    def _run(self) -> None:
        while (item := self._work.get()) is not None:
            if isinstance(item, Measurement):
                press(self._station, item)
            else:
                self._notice(item)


class Tapes:
    """The survey's devices at work; nothing runs if it has none."""

    def __init__(self, station: Station, config: Config, notice: TellNotice) -> None:
        devices = devices_from(config.other.get("device", []))
        self._wedges = [Wedge(one) for one in devices if one.transport == "wedge"]
        self._presses: Presses | None = None
        self._thread: DeviceThread | None = None
        if devices:
            # Imported late: asyncio takes longer to load than the rest of this module's own.
            from callout.devices.running import DeviceThread

            self._presses = Presses(station, notice)
            self._thread = DeviceThread(devices, self._presses.put)
            self._thread.start()

    def typed(self, text: str, keys_s: tuple[float, ...]) -> bool:
        """Whether a line was typed by a keyboard wedge; if so it is handled as a press."""
        if not self._wedges or self._presses is None or not typed_by_device(keys_s):
            return False
        now = datetime.now().astimezone()
        for wedge in self._wedges:
            for taken in wedge.typed(text, now, keys_s[-1]):
                if isinstance(taken, Measurement):
                    self._presses.put(taken)
                    return True
        return False

    def close(self) -> None:
        """Release the devices, then finish the presses so far."""
        if self._thread is not None:
            self._thread.stop()
        if self._presses is not None:
            self._presses.close()


def press(station: Station, sent: Measurement) -> None:
    """One press as the session takes it: its size and side, and its tag if the tape sent one."""
    meaning = Meaning("press", sent.tag, sent.value, sent.unit, scale=sent.scale)
    station.measure(_text(sent), meaning, sent.device, sent.received_at)


def _text(sent: Measurement) -> str:
    """The line as it came; a binary one by its meaning."""
    text = sent.raw.decode("ascii", "replace").strip()
    readable = text.isascii() and text.isprintable() and text
    return text if readable else f"{sent.value} {sent.unit.value}"
