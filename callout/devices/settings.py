"""One ``[[device]]`` table of ``survey.toml``: which device, how it connects, how it is read.

Takes a plain mapping, whoever read it. All errors are reported at once. Nothing is opened here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from uuid import UUID

from callout.core.errors import OperatorError
from callout.core.given import (
    Reader,
    boolean,
    member,
    number,
    one_of,
    read_table,
    short_text,
    whole,
)
from callout.core.units import Scale, Unit, parse_unit
from callout.devices.intake import Intake, Limits
from callout.devices.line_format.lines import LineFormat
from callout.devices.line_format.numerals import Mark
from callout.devices.line_format.template import compile_template

TRANSPORTS = ("serial", "ble", "wedge")
PARITIES = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}


@dataclass(frozen=True)
class DeviceSettings:
    """A device as the survey configures it. Times in seconds.

    ``pattern`` is a template or the name of a preset; ``unit`` and ``scale`` apply if the lines do
    not say. Serial: ``port`` (a path or any pyserial URL) or ``usb`` (``VID:PID`` in hex) or
    ``serial_number``. Bluetooth: ``address``, ``ble_name`` or ``service``, and ``characteristic``
    if it is not the first fitting one. ``packets``: every notification is one line.
    """

    name: str
    transport: str
    port: str = ""
    usb: str = ""
    serial_number: str = ""
    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: Decimal = Decimal(1)
    address: str = ""
    ble_name: str = ""
    service: str = ""
    characteristic: str = ""
    packets: bool = False
    pattern: str = "plain"
    unit: Unit | None = None
    scale: Scale = Scale.DIAMETER
    decimal: Mark = Mark.POINT
    scale_words: Mapping[str, Scale] = field(default_factory=dict)
    lines_a_second: int = 100
    retry_s: float = 0.5
    longest_retry_s: float = 15.0

    def line_format(self) -> LineFormat:
        """How its lines are read. Raises OperatorError for a bad pattern."""
        template = compile_template(self.pattern)
        return LineFormat(template, self.unit, self.scale, self.decimal, self.scale_words)

    def limits(self) -> Limits:
        """What it may send."""
        return Limits(lines_a_second=self.lines_a_second)


def intake_of(device: DeviceSettings) -> Intake:
    """The gate for what ``device`` sends."""
    return Intake(device.name, device.line_format(), device.limits())


def device_from(table: Mapping[str, object]) -> DeviceSettings:
    """The device in one table. Raises OperatorError that lists everything wrong with it."""
    try:
        found = read_table(table, _READERS)
        wrong = _disagreements(found)
    except OperatorError as error:
        wrong = [str(error)]
    if wrong:
        name = table.get("name", "without a name")
        raise OperatorError(f"device {name}: " + "; ".join(wrong))
    return DeviceSettings(**found)


def devices_from(tables: object) -> tuple[DeviceSettings, ...]:
    """All ``[[device]]`` tables. Raises OperatorError naming every bad one and repeated names."""
    if not isinstance(tables, list | tuple):
        raise OperatorError("device in survey.toml: write each device as a [[device]] table")
    devices: list[DeviceSettings] = []
    wrong: list[str] = []
    for table in tables:
        try:
            if not isinstance(table, Mapping):
                raise OperatorError("device: write [[device]] with keys below it")
            devices.append(device_from(table))
        except OperatorError as error:
            wrong.append(f"survey.toml: {error}")
    names = [device.name for device in devices]
    wrong += [
        f"survey.toml: two devices are named {name!r}"
        for name in set(names)
        if names.count(name) > 1
    ]
    if wrong:
        raise OperatorError("\n".join(wrong))
    return tuple(devices)


def table_of(device: DeviceSettings) -> dict[str, object]:
    """The table to write for ``device``: only what differs from the defaults; reads back equal."""
    always = {"name", "transport", "scale"} - compile_template(device.pattern).fields
    table: dict[str, object] = {}
    for one in fields(device):
        value = getattr(device, one.name)
        if one.name in always or value != getattr(_BLANK, one.name):
            table[one.name] = _plain(value)
    return table


def _plain(value: object) -> object:
    if isinstance(value, Unit | Scale | Mark):
        return value.value
    if isinstance(value, Decimal):
        return int(value) if value == int(value) else float(value)
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    return value


def _disagreements(found: Mapping[str, object]) -> list[str]:
    """Settings that are each valid, but not together."""
    wrong = [f"{key}: is missing" for key in ("name", "transport") if not found.get(key)]
    transport = found.get("transport")
    if transport == "serial" and not _any(found, "port", "usb", "serial_number"):
        wrong.append("port: say where it is by port, usb or serial_number")
    if transport == "ble" and not _any(found, "address", "ble_name", "service"):
        wrong.append("address: say which it is by address, ble_name or service")
    given = compile_template(str(found.get("pattern", "plain"))).fields
    if "unit" in given and "unit" in found:
        wrong.append("unit: the pattern reads it from the line; remove one of the two")
    if "unit" not in given and "unit" not in found:
        wrong.append("unit: the pattern has no {unit}, so say mm, cm, m, in or ft")
    if "scale" in given and "scale" in found:
        wrong.append("scale: the pattern reads it from the line; remove one of the two")
    return wrong


def _any(found: Mapping[str, object], *keys: str) -> bool:
    return any(found.get(key) for key in keys)


def _name(value: object) -> str:
    if not short_text(value).strip():
        raise OperatorError("give it a name, as name = 'tape'")
    return short_text(value)


def _stop_bits(value: object) -> Decimal:
    if isinstance(value, bool) or value not in (1, 1.5, 2):
        raise OperatorError(f"{value!r} is not 1, 1.5 or 2")
    return Decimal(str(value))


def _usb(value: object) -> str:
    given = short_text(value).lower()
    if _USB.fullmatch(given) is None:
        raise OperatorError(f"{given!r} is not VID:PID in hex, as 0403:6001")
    return given


def _uuid(value: object) -> str:
    given = short_text(value).lower()
    short = f"0000{given}-0000-1000-8000-00805f9b34fb" if len(given) == 4 else given
    try:
        return str(UUID(short))
    except ValueError:
        raise OperatorError(f"{given!r} is no UUID, nor four digits of hex") from None


def _pattern(value: object) -> str:
    compile_template(short_text(value))
    return short_text(value)


def _scale_words(value: object) -> Mapping[str, Scale]:
    if not isinstance(value, Mapping) or len(value) > 20:
        raise OperatorError("write the device's words as { D = 'diameter', G = 'girth' }")
    return {_name(word).lower(): member(Scale)(meaning) for word, meaning in value.items()}


_USB = re.compile("[0-9a-f]{4}:[0-9a-f]{4}")
_RETRY_S = number(0.01, 300, "seconds")
_READERS: Mapping[str, Reader] = {
    "name": _name,
    "transport": one_of(*TRANSPORTS),
    "port": short_text,
    "usb": _usb,
    "serial_number": short_text,
    "baud": whole(50, 4_000_000),
    "data_bits": whole(5, 8),
    "parity": one_of(*PARITIES),
    "stop_bits": _stop_bits,
    "address": short_text,
    "ble_name": short_text,
    "service": _uuid,
    "characteristic": _uuid,
    "packets": boolean,
    "pattern": _pattern,
    "unit": lambda value: parse_unit(short_text(value)),
    "scale": member(Scale),
    "decimal": member(Mark),
    "scale_words": _scale_words,
    "lines_a_second": whole(1, 10_000),
    "retry_s": _RETRY_S,
    "longest_retry_s": _RETRY_S,
}
_BLANK = DeviceSettings(name="", transport="")
