"""Which characteristic of a Bluetooth device carries the readings, and how to read it.

Chosen without guessing: the configured one, else the only one that describes itself as a length,
else the only text line service. Connecting and listening is in ``ble_source``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from callout.core.errors import DeviceError
from callout.devices.presentation import PresentationFormat, parse_presentation
from callout.devices.settings import DeviceSettings

BASE = "-0000-1000-8000-00805f9b34fb"
PRESENTATION = f"00002904{BASE}"
BATTERY_LEVEL = f"00002a19{BASE}"
NOTIFYING = frozenset({"notify", "indicate"})
WRITABLE = frozenset({"write", "write-without-response"})


@dataclass(frozen=True)
class Channel:
    """Where readings come from: self-described values (``form``), or text.

    ``packets``: each notification is one whole line; otherwise they are pieces of a stream.
    """

    characteristic: BleakGATTCharacteristic
    form: PresentationFormat | None = None
    packets: bool = False


async def choose_channel(client: BleakClient, settings: DeviceSettings) -> Channel:
    """The channel of a connected device.

    Raises DeviceError naming what the device has if none or more than one fits.
    """
    if settings.characteristic:
        return await _set_channel(client, settings)
    notifying = _notifying(client, settings.service) or _notifying(client)
    described = [
        Channel(one, form, packets=form.is_text)
        for one in notifying
        if (form := await _form_of(client, one)) is not None and (form.is_length or form.is_text)
    ]
    lengths = [channel for channel in described if channel.form and channel.form.is_length]
    for fitting in (lengths, described, _text_lines(client, notifying, settings)):
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            raise _unclear(settings, "several characteristics fit", notifying)
    raise _unclear(settings, "no characteristic describes itself or carries text", notifying)


async def _set_channel(client: BleakClient, settings: DeviceSettings) -> Channel:
    everything = _notifying(client)
    for one in everything:
        if one.uuid == settings.characteristic:
            form = await _form_of(client, one)
            form = form if form and (form.is_length or form.is_text) else None
            whole = settings.packets or (form is not None and form.is_text)
            return Channel(one, form, packets=whole)
    raise _unclear(settings, f"no characteristic {settings.characteristic} notifies", everything)


def _notifying(client: BleakClient, service: str = "") -> list[BleakGATTCharacteristic]:
    """The characteristics that notify, except the battery's; of one service, or of all."""
    return [
        one
        for inside in client.services
        if service in ("", inside.uuid)
        for one in inside.characteristics
        if NOTIFYING & set(one.properties) and one.uuid != BATTERY_LEVEL
    ]


async def _form_of(client: BleakClient, one: BleakGATTCharacteristic) -> PresentationFormat | None:
    """Its presentation format if it has just one; several describe an aggregate, not a length."""
    found = [item for item in one.descriptors if item.uuid == PRESENTATION]
    if len(found) != 1:
        return None
    return parse_presentation(bytes(await client.read_gatt_descriptor(found[0].handle)))


def _text_lines(
    client: BleakClient, notifying: Sequence[BleakGATTCharacteristic], settings: DeviceSettings
) -> list[Channel]:
    """Vendor services with one characteristic to write to and one that notifies."""
    by_handle = {service.handle: service for service in client.services}
    return [
        Channel(one, packets=settings.packets)
        for one in notifying
        if not one.service_uuid.endswith(BASE)
        and any(
            WRITABLE & set(other.properties)
            for other in by_handle[one.service_handle].characteristics
        )
    ]


def _unclear(
    settings: DeviceSettings, why: str, there: Sequence[BleakGATTCharacteristic]
) -> DeviceError:
    listed = ", ".join(one.uuid for one in there) or "none that notifies"
    return DeviceError(f"{settings.name}: {why}; set characteristic to one of: {listed}")


def battery_characteristic(client: BleakClient) -> BleakGATTCharacteristic | None:
    """Battery Level (0x2A19) of the Battery Service, if the device has it."""
    return client.services.get_characteristic(BATTERY_LEVEL)


def battery_percent(data: bytes) -> int | None:
    """Per cent in a Battery Level value: one byte, 0 to 100; None for any other."""
    return data[0] if len(data) == 1 and data[0] <= 100 else None
