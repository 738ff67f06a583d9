"""A tape by Bluetooth Low Energy: found, connected, listened to, and found again when lost.

Uses bleak, whose client may be replaced. Its callbacks only put bytes into a bounded inbox;
``intake`` interprets them, and ``ble_channel`` chooses the characteristic.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from weakref import WeakKeyDictionary

from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakBluetoothNotAvailableError, BleakError

from callout.core.saying import saying
from callout.devices.ble_channel import (
    Channel,
    battery_characteristic,
    battery_percent,
    choose_channel,
)
from callout.devices.intake import Intake, Taken
from callout.devices.measurement import NoticeKind, Put
from callout.devices.reporting import Backoff, Clock, Reporter
from callout.devices.settings import DeviceSettings, intake_of

FIND_S = 4.0
FAULTS = (BleakError, OSError, EOFError, asyncio.TimeoutError)
Find = Callable[[DeviceSettings], Awaitable[BLEDevice | None]]


@dataclass(frozen=True)
class Seen:
    """A Bluetooth device in range; ``rssi`` in dBm, nearer to zero is nearer."""

    name: str
    address: str
    rssi: int
    services: tuple[str, ...]


async def in_range(seconds: float) -> tuple[Seen, ...]:
    """The devices heard within some seconds, nearest first. Raises bleak's errors and OSError."""
    found = await BleakScanner.discover(seconds, return_adv=True)
    seen = [
        Seen(
            data.local_name or device.name or "",
            device.address,
            data.rssi,
            tuple(data.service_uuids),
        )
        for device, data in found.values()
    ]
    return tuple(sorted(seen, key=lambda one: -one.rssi))


def fits(settings: DeviceSettings, device: BLEDevice, data: AdvertisementData) -> bool:
    """Whether this device matches every setting that is given."""
    return (
        (not settings.address or device.address.lower() == settings.address.lower())
        and (not settings.ble_name or settings.ble_name in (data.local_name, device.name))
        and (not settings.service or settings.service in data.service_uuids)
    )


_scanning: WeakKeyDictionary[asyncio.AbstractEventLoop, asyncio.Lock] = WeakKeyDictionary()


async def find_device(settings: DeviceSettings) -> BLEDevice | None:
    """Scan for the device for four seconds; devices take turns, since one radio has one scan."""
    turn = _scanning.setdefault(asyncio.get_running_loop(), asyncio.Lock())
    async with turn:
        return await BleakScanner.find_device_by_filter(
            lambda device, data: fits(settings, device, data), timeout=FIND_S
        )


@dataclass(frozen=True)
class Packet:
    """One notification with its arrival time; ``dropped_before`` counts those dropped before it."""

    data: bytes
    at: datetime
    at_s: float
    dropped_before: int


class Inbox:
    """A bounded queue of packets between bleak's callback and the reader; closed with the link."""

    def __init__(self, clock: Clock, most: int = 1000) -> None:
        self._clock, self._most = clock, most
        self._items: deque[Packet] = deque()
        self._ready = asyncio.Event()
        self._closed = False
        self._dropped = 0

    def put(self, data: bytes) -> None:
        """Add one packet; if there is no room it is dropped and counted."""
        if len(self._items) >= self._most:
            self._dropped += 1
            return
        dropped, self._dropped = self._dropped, 0
        at, at_s = self._clock.now(), self._clock.monotonic()
        self._items.append(Packet(data, at, at_s, dropped))
        self._ready.set()

    def close(self) -> None:
        """No more packets will come."""
        self._closed = True
        self._ready.set()

    async def get(self) -> Packet | None:
        """The next packet, or None once closed and empty."""
        while not self._items:
            if self._closed:
                return None
            self._ready.clear()
            await self._ready.wait()
        return self._items.popleft()


class BleSource:
    """One Bluetooth LE device; ``client`` and ``find`` may be replaced, as tests do."""

    def __init__(
        self,
        settings: DeviceSettings,
        client: Callable[..., Any] = BleakClient,
        find: Find = find_device,
        clock: Clock | None = None,
        intake: Intake | None = None,
    ) -> None:
        self._settings, self._client, self._find = settings, client, find
        self._clock = clock or Clock()
        self._intake = intake or intake_of(settings)
        self._backoff = Backoff(settings.retry_s, settings.longest_retry_s)

    async def run(self, put: Put) -> None:
        """Listen until cancelled. Raises DeviceError for faults that waiting cannot mend."""
        report = Reporter(self._intake, put, self._clock)
        name = self._settings.name
        report.tell(NoticeKind.SEARCHING, saying("tape-searching", device=name))
        try:
            while True:
                try:
                    device = await self._find(self._settings)
                    if device is None:
                        away = saying("tape-not-in-range", device=name)
                        report.tell(NoticeKind.SEARCHING, away)
                    else:
                        await self._connection(device, report)
                except FAULTS as error:
                    report.taken(self._intake.lost())
                    report.tell(NoticeKind.LOST, saying("tape-why", device=name, why=told(error)))
                await asyncio.sleep(self._backoff.next_s())
        finally:
            report.close()

    async def _connection(self, device: BLEDevice, report: Reporter) -> None:
        """From connecting to losing the link."""
        inbox = Inbox(self._clock)
        name = self._settings.name
        async with self._client(device, disconnected_callback=lambda _: inbox.close()) as client:
            channel = await choose_channel(client, self._settings)
            await client.start_notify(
                channel.characteristic, lambda _, data: inbox.put(bytes(data))
            )
            report.taken(self._intake.connected(self._clock.monotonic()))
            how = channel.form.told() if channel.form else "text"
            says = saying("tape-connected-reads", device=name, form=how)
            report.tell(NoticeKind.CONNECTED, says)
            await self._battery(client, report)
            while (packet := await inbox.get()) is not None:
                self._backoff.reset()
                report.taken(self._judge(channel, packet))
        report.taken(self._intake.lost())
        report.tell(NoticeKind.LOST, saying("tape-link-lost", device=name))

    def _judge(self, channel: Channel, packet: Packet) -> list[Taken]:
        data, at, at_s = packet.data, packet.at, packet.at_s
        missed = self._intake.overflowed(packet.dropped_before) if packet.dropped_before else []
        if channel.form is not None and channel.form.is_length:
            scale = self._settings.scale
            return missed + self._intake.value(data, channel.form, scale, at, at_s)
        if channel.packets:
            return missed + self._intake.packet(data, at, at_s)
        return missed + self._intake.stream(data, at, at_s)

    async def _battery(self, client: Any, report: Reporter) -> None:
        """Report the battery level, if the device has one."""
        battery = battery_characteristic(client)
        if battery is None:
            return

        def show(_: object, data: bytearray) -> None:
            percent = battery_percent(bytes(data))
            if percent is not None:
                says = saying("tape-battery", device=self._settings.name, percent=percent)
                report.tell(NoticeKind.BATTERY, says, percent)

        try:
            if "read" in battery.properties:
                show(battery, await client.read_gatt_char(battery))
            if "notify" in battery.properties:
                await client.start_notify(battery, show)
        except BleakError:
            return


def told(error: BaseException) -> str:
    """A Bluetooth error in plain words."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        return "Bluetooth is off or missing; switch it on"
    if isinstance(error, FileNotFoundError | ConnectionRefusedError):
        return "no Bluetooth service is running on this machine"
    return f"no connection ({str(error)[:120] or type(error).__name__})"
