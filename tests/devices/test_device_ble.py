"""The real bleak, over a real message bus, against a Bluetooth tape in a process of its own.

What no test without a radio can show: pairing and its dialogues, real advertisements and their
intervals, fading links, the size of a notification (MTU), bleak's back ends for other systems,
and the quirks of any one maker's device.
"""

from __future__ import annotations

import asyncio
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import in_english
import pytest
from waiting import LONG_S, wait_for

from callout.core.units import Scale, Unit
from callout.devices.ble_channel import battery_percent
from callout.devices.ble_source import BleSource, Inbox
from callout.devices.measurement import DeviceNotice, Item, Measurement, NoticeKind, Reason
from callout.devices.reporting import Clock
from callout.devices.running import DeviceThread
from callout.devices.settings import DeviceSettings, device_from

PERIPHERAL = Path(__file__).with_name("simulated_bluez.py")
BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path={path}</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/>
<allow own="*"/><allow user="*"/></policy></busconfig>
"""
needs_bus = pytest.mark.skipif(
    not shutil.which("dbus-daemon") or sys.platform != "linux",
    reason="dbus-daemon is not installed (Debian package dbus-daemon)",
)


@pytest.fixture
def bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[subprocess.Popen[bytes]]:
    """A message bus of our own in the place of the system's."""
    config, socket = tmp_path / "bus.conf", tmp_path / "bus"
    config.write_text(BUS.format(path=socket))
    daemon = subprocess.Popen(["dbus-daemon", f"--config-file={config}", "--nofork"])
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={socket}")
    wait_for(socket.exists)
    yield daemon
    daemon.terminate()
    daemon.wait(60)


class Peripheral:
    """The other process and its commands."""

    def __init__(self, kind: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(PERIPHERAL), kind],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        self._expect("ready")

    def __call__(self, command: str) -> None:
        assert self.process.stdin
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()
        self._expect("ok")

    def send(self, data: bytes) -> None:
        """One notification of the reading characteristic."""
        self(f"value {data.hex()}")

    def _expect(self, word: str) -> None:
        assert self.process.stdout
        assert self.process.stdout.readline().strip() == word

    def close(self) -> None:
        self.process.terminate()
        self.process.communicate(timeout=60)


@pytest.fixture
def peripheral(bus: subprocess.Popen[bytes]) -> Iterator[Callable[[str], Peripheral]]:
    made: list[Peripheral] = []

    def make(kind: str) -> Peripheral:
        made.append(Peripheral(kind))
        return made[-1]

    yield make
    for one in made:
        one.close()


def settings(**rest: object) -> DeviceSettings:
    table = {"name": "tape", "transport": "ble", "retry_s": 0.05, "longest_retry_s": 0.1, **rest}
    return device_from(table)


def count(items: list[Item], kind: NoticeKind) -> int:
    return sum(isinstance(item, DeviceNotice) and item.kind is kind for item in items)


def readings(items: list[Item]) -> list[tuple[str, Unit]]:
    return [(str(item.value), item.unit) for item in items if isinstance(item, Measurement)]


@needs_bus
@pytest.mark.parametrize(
    "by",
    [{"ble_name": "Fen tape"}, {"address": "c0:ff:ee:00:00:83"}, {"service": "180f"}],
    ids=["name", "address", "service"],
)  # fmt: skip
def test_a_tape_that_describes_itself(
    peripheral: Callable[[str], Peripheral], by: dict[str, str]
) -> None:
    tape, items = peripheral("described"), []
    devices = DeviceThread([settings(**by)], items.append)
    devices.start()
    try:
        wait_for(lambda: count(items, NoticeKind.BATTERY))
        tape.send(b"\xf6\x00")
        wait_for(lambda: readings(items))
        tape("battery 86")
        wait_for(lambda: count(items, NoticeKind.BATTERY) == 2)
    finally:
        devices.stop()
    assert readings(items) == [("24.6", Unit.INCH)]
    levels = [i.battery for i in items if isinstance(i, DeviceNotice) and i.battery is not None]
    assert levels == [87, 86]
    connected = next(
        i for i in items if isinstance(i, DeviceNotice) and i.kind is NoticeKind.CONNECTED
    )
    assert in_english.part(connected.says) == "tape: connected, reads uint16 x 10^-1 in"


@needs_bus
def test_the_link_breaks_in_mid_reading_and_comes_back(
    peripheral: Callable[[str], Peripheral],
) -> None:
    tape, items = peripheral("uart"), []
    devices = DeviceThread([settings(ble_name="Fen tape")], items.append)
    devices.start()
    try:
        wait_for(lambda: count(items, NoticeKind.CONNECTED) == 1)
        time.sleep(0.1)
        for piece in (b"24.6 ", b"cm\r", b"\n12"):
            tape.send(piece)
        wait_for(lambda: readings(items))
        tape("drop")
        wait_for(lambda: count(items, NoticeKind.CONNECTED) == 2)
        time.sleep(0.1)
        # The rest of a line whose beginning was lost with the link: no reading of 34.5 made of
        # 12 and 34.5 cm, since the halves stand on either side of the break.
        tape.send(b"34.5 cm")
        tape.send(b"\r\n")
        wait_for(lambda: len(readings(items)) == 2)
        tape("away")
        wait_for(lambda: count(items, NoticeKind.LOST) >= 2)
        time.sleep(0.2)
        tape("back")
        wait_for(lambda: count(items, NoticeKind.CONNECTED) >= 3)
        time.sleep(0.1)
        tape.send(b"31.2 cm\r\n")
        wait_for(lambda: len(readings(items)) == 3)
    finally:
        devices.stop()
    cm = Unit.CENTIMETRE
    assert readings(items) == [("24.6", cm), ("34.5", cm), ("31.2", cm)]
    last = [i for i in items if isinstance(i, DeviceNotice) and i.refused][-1]
    assert dict(last.refused) == {Reason.CUT: 1}


@needs_bus
def test_a_device_that_is_away_does_not_keep_another_from_being_found(
    peripheral: Callable[[str], Peripheral],
) -> None:
    peripheral("described")
    items: list[Item] = []
    away = device_from({"name": "caliper", "transport": "ble", "ble_name": "Fen caliper"})
    devices = DeviceThread([away, settings(ble_name="Fen tape")], items.append)
    devices.start()
    try:
        wait_for(lambda: count(items, NoticeKind.CONNECTED))
    finally:
        devices.stop()
    # Two scans at once would be refused by BlueZ ("already in progress") and told as a fault.
    assert count(items, NoticeKind.LOST) == 0


@needs_bus
def test_the_bluetooth_service_dies_and_is_told(
    bus: subprocess.Popen[bytes], peripheral: Callable[[str], Peripheral]
) -> None:
    tape, items = peripheral("described"), []
    devices = DeviceThread([settings(ble_name="Fen tape")], items.append)
    devices.start()
    try:
        wait_for(lambda: count(items, NoticeKind.BATTERY))
        tape.send(b"\xf6\x00")
        wait_for(lambda: readings(items))
        bus.terminate()
        wait_for(lambda: any("no Bluetooth service" in str(item) for item in items))
    finally:
        devices.stop()
    assert count(items, NoticeKind.FAILED) == 0
    assert len(readings(items)) == 1


@needs_bus
def test_a_set_characteristic_that_is_not_there_is_told_and_given_up(
    peripheral: Callable[[str], Peripheral],
) -> None:
    peripheral("described")
    items: list[Item] = []
    absent = settings(ble_name="Fen tape", characteristic="2a37")
    devices = DeviceThread([absent], items.append)
    devices.start()
    try:
        wait_for(lambda: count(items, NoticeKind.FAILED))
    finally:
        devices.stop()
    told = [
        in_english.part(i.says)
        for i in items
        if isinstance(i, DeviceNotice) and i.kind is NoticeKind.FAILED
    ]
    assert "0000aa01-1234-4321-8888-00000000fe41" in told[0]


def test_no_bluetooth_at_all_is_told_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path / 'none'}")
    items: list[Item] = []

    async def briefly() -> None:
        source = BleSource(settings(ble_name="Fen tape"))
        task = asyncio.create_task(source.run(items.append))
        while len(items) < 2:
            await asyncio.sleep(0.01)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(asyncio.wait_for(briefly(), LONG_S))
    texts = [in_english.part(item.says) for item in items if isinstance(item, DeviceNotice)]
    assert texts == [
        "tape: looking for it",
        "tape: no Bluetooth service is running on this machine",
    ]


def test_the_inbox_is_bounded_and_says_what_it_dropped() -> None:
    async def fill() -> list[tuple[bytes, int]]:
        clock = Clock(lambda: datetime(2026, 5, 4, tzinfo=UTC), lambda: 0.0)
        inbox = Inbox(clock, most=2)
        for number in range(5):
            inbox.put(b"%d" % number)
        got = [await inbox.get()]
        inbox.put(b"5")
        inbox.close()
        got += [await inbox.get(), await inbox.get()]
        assert await inbox.get() is None
        return [(one.data, one.dropped_before) for one in got if one]

    assert asyncio.run(fill()) == [(b"0", 0), (b"1", 0), (b"5", 3)]


def test_battery_level_is_one_byte_of_per_cent() -> None:
    # Battery Level, 0x2A19, of the Bluetooth SIG: uint8, 0 to 100 (from memory).
    assert [battery_percent(bytes(raw)) for raw in ([0], [100], [101], [], [50, 0])] == [
        0, 100, None, None, None
    ]  # fmt: skip
    assert Scale.DIAMETER is settings(ble_name="x").scale
