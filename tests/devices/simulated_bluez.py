"""A Bluetooth tape as BlueZ would show it, as a process of its own: ``simulated_bluez.py KIND``.

Owns ``org.bluez`` on the bus that ``DBUS_SYSTEM_BUS_ADDRESS`` names and speaks the interfaces of
BlueZ's published D-Bus documents (Adapter1, Device1, GattService1, GattCharacteristic1,
GattDescriptor1) as far as a client needs them. KIND is ``described`` (a characteristic with a
presentation format, and a battery) or ``uart`` (text lines over the openly documented Nordic
UART service). Commands come on standard input, one a line; each is answered by ``ok``:

    value HEX      notify the reading characteristic
    battery N      notify the battery level
    drop           the link breaks
    away / back    the device leaves, or returns to, the range
"""

import asyncio
import sys
from typing import Annotated, Any

from dbus_fast import BusType
from dbus_fast.aio import MessageBus
from dbus_fast.annotations import DBusSignature
from dbus_fast.errors import DBusError
from dbus_fast.service import PropertyAccess, ServiceInterface, dbus_method, dbus_property

ADAPTER = "/org/bluez/hci0"
ADDRESS = "C0:FF:EE:00:00:83"
DEVICE = f"{ADAPTER}/dev_{ADDRESS.replace(':', '_')}"
BASE = "-0000-1000-8000-00805f9b34fb"
NORDIC = "6e40000{}-b5a3-f393-e0a9-e50e24dcca9e"

Str = Annotated[str, DBusSignature("s")]
Path = Annotated[str, DBusSignature("o")]
Bool = Annotated[bool, DBusSignature("b")]
Int16 = Annotated[int, DBusSignature("n")]
Bytes = Annotated[bytes, DBusSignature("ay")]
Strs = Annotated[list, DBusSignature("as")]
Options = Annotated[dict, DBusSignature("a{sv}")]
READ = PropertyAccess.READ


class Adapter(ServiceInterface):
    def __init__(self, radio: "Radio") -> None:
        super().__init__("org.bluez.Adapter1")
        self.radio = radio

    @dbus_method()
    def SetDiscoveryFilter(self, options: Options) -> None:  # noqa: N802
        pass

    @dbus_method()
    def StartDiscovery(self) -> None:  # noqa: N802
        if self.radio.discovering:
            raise DBusError("org.bluez.Error.InProgress", "Operation already in progress")
        self.radio.discovering = True
        asyncio.get_running_loop().call_later(0.05, self.radio.show)

    @dbus_method()
    def StopDiscovery(self) -> None:  # noqa: N802
        self.radio.discovering = False

    @dbus_property(access=READ)
    def Address(self) -> Str:  # noqa: N802
        return "00:00:00:00:00:01"

    @dbus_property(access=READ)
    def Powered(self) -> Bool:  # noqa: N802
        return True

    @dbus_property(access=READ)
    def Roles(self) -> Strs:  # noqa: N802
        return ["central"]


class Device(ServiceInterface):
    def __init__(self, radio: "Radio") -> None:
        super().__init__("org.bluez.Device1")
        self.radio = radio
        self.connected = self.resolved = False

    @dbus_method()
    async def Connect(self) -> None:  # noqa: N802
        if not self.radio.present:
            raise DBusError("org.bluez.Error.Failed", "br-connection-page-timeout")
        self.change(connected=True)
        self.radio.resolve()
        await asyncio.sleep(0.02)
        self.change(resolved=True)

    @dbus_method()
    def Disconnect(self) -> None:  # noqa: N802
        self.radio.drop()

    def change(self, connected: bool | None = None, resolved: bool | None = None) -> None:
        if connected is not None:
            self.connected = connected
            self.emit_properties_changed({"Connected": connected})
        if resolved is not None:
            self.resolved = resolved
            self.emit_properties_changed({"ServicesResolved": resolved})

    @dbus_property(access=READ)
    def Address(self) -> Str:  # noqa: N802
        return ADDRESS

    @dbus_property(access=READ)
    def Name(self) -> Str:  # noqa: N802
        return "Fen tape"

    @dbus_property(access=READ)
    def Alias(self) -> Str:  # noqa: N802
        return "Fen tape"

    @dbus_property(access=READ)
    def Adapter(self) -> Path:  # noqa: N802
        return ADAPTER

    @dbus_property(access=READ)
    def UUIDs(self) -> Strs:  # noqa: N802
        return [f"0000180f{BASE}"]

    @dbus_property(access=READ)
    def RSSI(self) -> Int16:  # noqa: N802
        return -60

    @dbus_property(access=READ)
    def Paired(self) -> Bool:  # noqa: N802
        return False

    @dbus_property(access=READ)
    def Connected(self) -> Bool:  # noqa: N802
        return self.connected

    @dbus_property(access=READ)
    def ServicesResolved(self) -> Bool:  # noqa: N802
        return self.resolved


class Service(ServiceInterface):
    def __init__(self, uuid: str) -> None:
        super().__init__("org.bluez.GattService1")
        self.uuid = uuid

    @dbus_property(access=READ)
    def UUID(self) -> Str:  # noqa: N802
        return self.uuid

    @dbus_property(access=READ)
    def Primary(self) -> Bool:  # noqa: N802
        return True

    @dbus_property(access=READ)
    def Device(self) -> Path:  # noqa: N802
        return DEVICE


class Characteristic(ServiceInterface):
    def __init__(self, service: str, uuid: str, flags: list, value: bytes = b"") -> None:
        super().__init__("org.bluez.GattCharacteristic1")
        self.service, self.uuid, self.flags, self.value = service, uuid, flags, value
        self.notifying = False

    def notify(self, value: bytes) -> None:
        self.value = value
        if self.notifying:
            self.emit_properties_changed({"Value": value})

    @dbus_method()
    def ReadValue(self, options: Options) -> Bytes:  # noqa: N802
        return self.value

    @dbus_method()
    def StartNotify(self) -> None:  # noqa: N802
        self.notifying = True

    @dbus_method()
    def StopNotify(self) -> None:  # noqa: N802
        self.notifying = False

    @dbus_property(access=READ)
    def UUID(self) -> Str:  # noqa: N802
        return self.uuid

    @dbus_property(access=READ)
    def Service(self) -> Path:  # noqa: N802
        return self.service

    @dbus_property(access=READ)
    def Flags(self) -> Strs:  # noqa: N802
        return self.flags

    @dbus_property(access=READ)
    def Value(self) -> Bytes:  # noqa: N802
        return self.value


class Descriptor(ServiceInterface):
    def __init__(self, characteristic: str, uuid: str, value: bytes) -> None:
        super().__init__("org.bluez.GattDescriptor1")
        self.characteristic, self.uuid, self.value = characteristic, uuid, value

    @dbus_method()
    def ReadValue(self, options: Options) -> Bytes:  # noqa: N802
        return self.value

    @dbus_property(access=READ)
    def UUID(self) -> Str:  # noqa: N802
        return self.uuid

    @dbus_property(access=READ)
    def Characteristic(self) -> Path:  # noqa: N802
        return self.characteristic

    @dbus_property(access=READ)
    def Value(self) -> Bytes:  # noqa: N802
        return b""

    @dbus_property(access=READ)
    def Flags(self) -> Strs:  # noqa: N802
        return ["read"]


def described() -> dict[str, Any]:
    """A service of the maker's own with tenths of an inch as uint16, and a battery."""
    service, battery = f"{DEVICE}/service0010", f"{DEVICE}/service0020"
    own = "0000aa0{}-1234-4321-8888-00000000fe41"
    reading = Characteristic(f"{service}", own.format(1), ["notify"])
    return {
        service: Service(own.format(0)),
        f"{service}/char0011": reading,
        # Computed: tenths of an inch as uint16.
        f"{service}/char0011/desc0013": Descriptor(
            f"{service}/char0011", f"00002904{BASE}", bytes.fromhex("06FFA227010000")
        ),
        battery: Service(f"0000180f{BASE}"),
        f"{battery}/char0021": Characteristic(
            battery, f"00002a19{BASE}", ["read", "notify"], bytes([87])
        ),
    }


def uart() -> dict[str, Any]:
    """Text over a write and a notify characteristic."""
    service = f"{DEVICE}/service0010"
    return {
        service: Service(NORDIC.format(1)),
        f"{service}/char0011": Characteristic(service, NORDIC.format(3), ["notify"]),
        f"{service}/char0014": Characteristic(service, NORDIC.format(2), ["write"]),
    }


class Radio:
    """What is in the air."""

    def __init__(self, bus: MessageBus, kind: str) -> None:
        self.bus, self.present, self.discovering = bus, True, False
        self.device = Device(self)
        self.objects = {"described": described, "uart": uart}[kind]()
        self.shown = self.resolved = False

    def show(self) -> None:
        """The device's advertisement is heard."""
        if self.present and self.discovering:
            if self.shown:
                self.device.emit_properties_changed({"RSSI": -60})
            else:
                self.bus.export(DEVICE, self.device)
            self.shown = True

    def resolve(self) -> None:
        if not self.resolved:
            for path, interface in self.objects.items():
                self.bus.export(path, interface)
        self.resolved = True

    def drop(self) -> None:
        for one in self.objects.values():
            if isinstance(one, Characteristic):
                one.notifying = False
        self.device.change(connected=False, resolved=False)

    def away(self) -> None:
        """Out of range: the link breaks, and BlueZ forgets the device and all it had."""
        self.present = False
        self.drop()
        for path in reversed(list(self.objects)):
            self.bus.unexport(path)
        self.bus.unexport(DEVICE)
        self.shown = self.resolved = False

    def back(self) -> None:
        self.present = True
        self.show()

    def command(self, line: str) -> None:
        word, _, rest = line.partition(" ")
        if word == "value":
            self._notifying("char0011").notify(bytes.fromhex(rest))
        elif word == "battery":
            self._notifying("char0021").notify(bytes([int(rest)]))
        else:
            {"drop": self.drop, "away": self.away, "back": self.back}[word]()

    def _notifying(self, end: str) -> Characteristic:
        return next(one for path, one in self.objects.items() if path.endswith(end))


async def main() -> None:
    bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
    radio = Radio(bus, sys.argv[1])
    bus.export(ADAPTER, Adapter(radio))
    await bus.request_name("org.bluez")
    print("ready", flush=True)
    loop = asyncio.get_running_loop()
    while line := await loop.run_in_executor(None, sys.stdin.readline):
        radio.command(line.strip())
        print("ok", flush=True)


if __name__ == "__main__":
    asyncio.run(main())
