"""One ``[[device]]`` table of ``survey.toml``: which device, how it connects, how it is read.

From a plain mapping, so that it does not matter who read the file. All that is wrong is told at
once. Nothing is opened here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from uuid import UUID

from callout.core.errors import OperatorError
from callout.core.units import Scale, Unit, parse_unit
from callout.devices.intake import Intake, Limits
from callout.devices.line_format.lines import LineFormat
from callout.devices.line_format.numerals import Mark
from callout.devices.line_format.template import compile_template

Reader = Callable[[object], object]
TRANSPORTS = ("serial", "ble", "wedge")
PARITIES = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}


@dataclass(frozen=True)
class DeviceSettings:
    """A device as the survey names it. Times in seconds.

    ``pattern`` is a template or the name of a preset; ``unit`` and ``scale`` hold where the lines
    do not say. Serial: ``port`` (a path or any pyserial URL) or ``usb`` (``VID:PID`` in hex) or
    ``serial_number``. Bluetooth: ``address``, ``ble_name`` or ``service``, and ``characteristic``
    where the first fitting one is not meant. ``packets``: every notification is one line.
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
    found: dict[str, object] = {}
    wrong = [f"{key}: no such setting" for key in table if key not in _READERS]
    for key, reader in _READERS.items():
        if key in table:
            try:
                found[key] = reader(table[key])
            except (OperatorError, ValueError) as error:
                wrong.append(f"{key}: {error}")
    if not wrong:
        wrong = _disagreements(found)
    if wrong:
        name = table.get("name", "without a name")
        raise OperatorError(f"device {name}: " + "; ".join(wrong))
    return DeviceSettings(**found)  # type: ignore[arg-type]


def devices_from(tables: object) -> tuple[DeviceSettings, ...]:
    """All ``[[device]]`` tables. Raises OperatorError naming every bad one and doubled names."""
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
    """What each key allows but the table as a whole does not."""
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


def _text(value: object) -> str:
    if not isinstance(value, str) or len(value) > 200 or not value.isprintable():
        raise OperatorError(f"{value!r} is not a short text in quotes")
    return value


def _name(value: object) -> str:
    if not _text(value).strip():
        raise OperatorError("give it a name, as name = 'tape'")
    return _text(value)


def _one_of(*words: str) -> Reader:
    def read(value: object) -> str:
        if value not in words:
            raise OperatorError(f"{value!r} is not one of {', '.join(words)}")
        return str(value)

    return read


def _whole(least: int, most: int) -> Reader:
    def read(value: object) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise OperatorError(f"{value!r} is not a whole number from {least} to {most}")
        return int(value)

    return read


def _seconds(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.01 <= value <= 300:
        raise OperatorError(f"{value!r} is not a number of seconds from 0.01 to 300")
    return float(value)


def _stop_bits(value: object) -> Decimal:
    if isinstance(value, bool) or value not in (1, 1.5, 2):
        raise OperatorError(f"{value!r} is not 1, 1.5 or 2")
    return Decimal(str(value))


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise OperatorError(f"{value!r} is not true or false")
    return value


def _usb(value: object) -> str:
    vendor, colon, product = _text(value).partition(":")
    if not colon or any(len(part) != 4 for part in (vendor, product)):
        raise OperatorError(f"{value!r} is not VID:PID in hex, as 0403:6001")
    int(vendor, 16), int(product, 16)
    return f"{vendor}:{product}".lower()


def _uuid(value: object) -> str:
    text = _text(value).lower()
    if len(text) == 4:
        return f"{int(text, 16):08x}-0000-1000-8000-00805f9b34fb"
    return str(UUID(text))


def _pattern(value: object) -> str:
    compile_template(_text(value))
    return _text(value)


def _scale_words(value: object) -> Mapping[str, Scale]:
    if not isinstance(value, Mapping) or len(value) > 20:
        raise OperatorError("write the device's words as { D = 'diameter', G = 'girth' }")
    return {_name(word).lower(): Scale(meaning) for word, meaning in value.items()}


_READERS: Mapping[str, Reader] = {
    "name": _name,
    "transport": _one_of(*TRANSPORTS),
    "port": _text,
    "usb": _usb,
    "serial_number": _text,
    "baud": _whole(50, 4_000_000),
    "data_bits": _whole(5, 8),
    "parity": _one_of(*PARITIES),
    "stop_bits": _stop_bits,
    "address": _text,
    "ble_name": _text,
    "service": _uuid,
    "characteristic": _uuid,
    "packets": _flag,
    "pattern": _pattern,
    "unit": lambda value: parse_unit(_text(value)),
    "scale": lambda value: Scale(value),
    "decimal": lambda value: Mark(value),
    "scale_words": _scale_words,
    "lines_a_second": _whole(1, 10_000),
    "retry_s": _seconds,
    "longest_retry_s": _seconds,
}
_BLANK = DeviceSettings(name="", transport="")
