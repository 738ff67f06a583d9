"""Real pyserial against a simulated tape in a process of its own, on a pseudo-terminal pair."""

from __future__ import annotations

import socket
import threading
import time
from decimal import Decimal
from pathlib import Path

import in_english
import pytest
from simulated_tape import SETTLES_S, pressed
from waiting import wait_for

from callout.core.errors import DeviceError, OperatorError, ProgrammerError
from callout.devices.measurement import DeviceNotice, Item, Measurement, NoticeKind, Reason
from callout.devices.ports import PortInfo, list_ports, port_of
from callout.devices.reporting import Backoff
from callout.devices.running import DeviceThread, make_source
from callout.devices.settings import DeviceSettings, device_from


def settings(port: str, **rest: object) -> DeviceSettings:
    table = {"name": "tape", "transport": "serial", "port": port, "retry_s": 0.02,
             "longest_retry_s": 0.1, "lines_a_second": 2000, **rest}  # fmt: skip
    return device_from(table)


def kinds(items: list[Item]) -> list[NoticeKind]:
    return [item.kind for item in items if isinstance(item, DeviceNotice)]


def connected(items: list[Item], devices: int = 1) -> None:
    """Until so many are, and what they send is taken: a line begun sooner may lack its start."""
    wait_for(lambda: kinds(items).count(NoticeKind.CONNECTED) == devices)
    time.sleep(SETTLES_S)


def test_a_thousand_readings_through_unplugging(tmp_path: Path) -> None:
    link, items = tmp_path / "tape", []
    devices = DeviceThread([settings(str(link))], items.append)
    devices.start()
    try:
        pressed(link, 1000, 0.002, lambda: kinds(items).count(NoticeKind.CONNECTED))
        wait_for(lambda: kinds(items).count(NoticeKind.LOST) == 4)
    finally:
        devices.stop()
    got = [item.value for item in items if isinstance(item, Measurement)]
    assert got == [Decimal(number + 50) / 10 for number in range(1, 1001)]
    assert kinds(items).count(NoticeKind.CONNECTED) == 4
    # The halves of the three cut lines are the only things that were refused.
    last = [item for item in items if isinstance(item, DeviceNotice) and item.refused][-1]
    assert dict(last.refused) == {Reason.CUT: 3}
    # The worker is let go without waiting for it, so its end may come a moment later.
    wait_for(lambda: not any(one.name.startswith("tape ") for one in threading.enumerate()))


def test_a_socket_url() -> None:
    server = socket.create_server(("127.0.0.1", 0))
    url = f"socket://127.0.0.1:{server.getsockname()[1]}"
    items: list[Item] = []
    devices = DeviceThread([settings(url, longest_retry_s=60, retry_s=60)], items.append)
    devices.start()
    tape, _ = server.accept()
    try:
        connected(items)
        tape.sendall(b"24.6 cm\r\n-3 cm\r\n9 5/8 in\r\n")
        wait_for(lambda: sum(isinstance(item, Measurement) for item in items) == 2)
        tape.close()
        wait_for(lambda: NoticeKind.LOST in kinds(items))
    finally:
        devices.stop()
        server.close()
    got = [(str(i.value), i.unit.value) for i in items if isinstance(i, Measurement)]
    assert got == [("24.6", "cm"), ("9.625", "in")]
    assert kinds(items) == [
        NoticeKind.SEARCHING, NoticeKind.CONNECTED, NoticeKind.REFUSED, NoticeKind.LOST
    ]  # fmt: skip


def test_a_flood_leaves_the_listener_responsive(tmp_path: Path) -> None:
    # 10,000 lines a second for a second, then one press.
    server = socket.create_server(("127.0.0.1", 0))
    url = f"socket://127.0.0.1:{server.getsockname()[1]}"
    items: list[Item] = []
    devices = DeviceThread([settings(url, lines_a_second=50)], items.append)
    devices.start()
    connection, _ = server.accept()

    def judged() -> int:
        refused = [item.refused for item in items if isinstance(item, DeviceNotice)][-1]
        return sum(refused.values()) + sum(isinstance(item, Measurement) for item in items)

    try:
        connected(items)
        began = time.monotonic()
        for turn in range(100):
            connection.sendall(b"".join(b"%d.%02d cm\n" % (n, turn) for n in range(1, 101)))
            time.sleep(0.01)
        wait_for(lambda: judged() == 10_000)
        lasted_s = time.monotonic() - began
        time.sleep(1.2)  # then as many as in a second may come again
        begun = time.process_time()
        connection.sendall(b"4000.5 cm\n")
        wait_for(lambda: any(isinstance(i, Measurement) and i.value > 4000 for i in items))
        assert time.process_time() - begun < 0.5, "nothing of the flood is still worked on"
    finally:
        devices.stop()
        connection.close()
        server.close()
    readings = sum(isinstance(item, Measurement) for item in items)
    notices = [item for item in items if isinstance(item, DeviceNotice)]
    assert readings <= 50 * (lasted_s + 1) + 1, "a second's worth at once, and then so many each"
    assert len(notices) < lasted_s + 8, "told once a second"
    assert notices[-1].refused[Reason.FLOOD] == 10_001 - readings


def test_a_url_that_pyserial_does_not_know_is_told_and_given_up() -> None:
    items: list[Item] = []
    devices = DeviceThread([settings("carrier-pigeon://loft")], items.append)
    devices.start()
    try:
        wait_for(lambda: NoticeKind.FAILED in kinds(items))
    finally:
        devices.stop()
    assert kinds(items)[-1] is NoticeKind.FAILED
    assert "carrier-pigeon" in in_english.part(items[-1].says)  # type: ignore[union-attr]


def test_a_missing_port_is_told_once_and_waited_for(tmp_path: Path) -> None:
    items: list[Item] = []
    devices = DeviceThread([settings(str(tmp_path / "none"))], items.append)
    devices.start()
    wait_for(lambda: len(kinds(items)) == 2)
    time.sleep(0.4)
    devices.stop()
    assert kinds(items) == [NoticeKind.SEARCHING, NoticeKind.SEARCHING]
    assert "plug it in" in in_english.part(items[-1].says)  # type: ignore[union-attr]


PORTS = (
    PortInfo("/dev/ttyUSB0", "one", "0403:6001", "A1"),
    PortInfo("/dev/ttyUSB1", "two", "0403:6001", "A2"),
    PortInfo("/dev/ttyS0"),
)


def by(**table: object) -> DeviceSettings:
    return device_from({"name": "tape", "transport": "serial", **table})


def test_ports_are_found_by_what_is_set() -> None:
    assert port_of(by(port="loop://"), PORTS) == "loop://"
    assert port_of(by(serial_number="A2"), PORTS) == "/dev/ttyUSB1"
    assert port_of(by(usb="0403:6001", serial_number="A1"), PORTS) == "/dev/ttyUSB0"
    assert port_of(by(usb="1234:5678"), PORTS) is None
    with pytest.raises(DeviceError, match="all fit"):
        port_of(by(usb="0403:6001"), PORTS)
    assert isinstance(list_ports(), tuple)


def test_waiting_doubles_up_to_its_limit() -> None:
    backoff = Backoff(0.5, 3)
    assert [backoff.next_s() for _ in range(5)] == [0.5, 1, 2, 3, 3]
    backoff.reset()
    assert backoff.next_s() == 0.5


def test_a_wedge_is_no_source() -> None:
    with pytest.raises(OperatorError, match="types into the screen"):
        make_source(device_from({"name": "w", "transport": "wedge"}))


def test_a_defect_of_one_device_is_told_and_leaves_the_others_at_work() -> None:
    server = socket.create_server(("127.0.0.1", 0))
    url = f"socket://127.0.0.1:{server.getsockname()[1]}"
    items: list[Item] = []

    def put(item: Item) -> None:
        if isinstance(item, Measurement) and item.device == "bad":
            raise KeyError("what a caller got wrong")
        items.append(item)

    other = socket.create_server(("127.0.0.1", 0))
    bad = settings(f"socket://127.0.0.1:{other.getsockname()[1]}", name="bad")
    devices = DeviceThread([bad, settings(url)], put)
    devices.start()
    first, _ = other.accept()
    second, _ = server.accept()
    try:
        connected(items, 2)
        first.sendall(b"1 cm\n")
        wait_for(lambda: NoticeKind.FAILED in kinds(items))
        second.sendall(b"24.6 cm\n")
        wait_for(lambda: any(isinstance(item, Measurement) for item in items))
    finally:
        with pytest.raises(ProgrammerError, match="bad: stopped by a defect"):
            devices.stop()
        for one in (first, second, server, other):
            one.close()
