"""``[[device]]`` tables: what is read, what is refused, and that writing reads back equal."""

from __future__ import annotations

import tomllib
from decimal import Decimal

import pytest
import tomlkit

from callout.core.errors import OperatorError
from callout.core.units import Scale, Unit
from callout.devices.line_format.numerals import Mark
from callout.devices.settings import DeviceSettings, device_from, devices_from, table_of

SURVEY = """
[[device]]
name = "tape"
transport = "serial"
usb = "0403:6001"
baud = 4800
parity = "even"
stop_bits = 1.5
pattern = "{scale}{value}"
unit = "cm"
decimal = "comma"
scale_words = { U = "girth" }

[[device]]
name = "caliper"
transport = "ble"
ble_name = "Fen caliper"
service = "180F"
"""


def test_tables_are_read() -> None:
    tape, caliper = devices_from(tomllib.loads(SURVEY)["device"])
    assert (tape.usb, tape.baud, tape.parity, tape.stop_bits) == (
        "0403:6001", 4800, "even", Decimal("1.5")
    )  # fmt: skip
    assert (tape.unit, tape.decimal, dict(tape.scale_words)) == (
        Unit.CENTIMETRE, Mark.COMMA, {"u": Scale.GIRTH}
    )  # fmt: skip
    # A 16-bit UUID stands for this one (Bluetooth base UUID, published by the SIG).
    assert caliper.service == "0000180f-0000-1000-8000-00805f9b34fb"
    assert caliper.pattern == "plain"


def test_what_is_written_reads_back_equal() -> None:
    for device in devices_from(tomllib.loads(SURVEY)["device"]):
        text = tomlkit.dumps({"device": [table_of(device)]})
        assert devices_from(tomllib.loads(text)["device"]) == (device,)


def test_everything_wrong_is_told_at_once() -> None:
    table = {
        "name": "tape", "transport": "telepathy", "baud": "fast", "data_bits": 9, "parity": "some",
        "stop_bits": 3, "usb": "usb", "service": "x", "packets": 1, "pattern": "{val}",
        "unit": "furlong", "scale": "radius", "decimal": "dot", "scale_words": {"D": "wide"},
        "retry_s": 0, "lines_a_second": True, "colour": "red",
    }  # fmt: skip
    with pytest.raises(OperatorError) as caught:
        device_from(table)
    for key in table.keys() - {"name", "colour"}:
        assert f"{key}: " in str(caught.value)
    assert "unknown setting 'colour'" in str(caught.value)


@pytest.mark.parametrize(
    ("table", "wrong"),
    [
        ({"name": "t"}, "transport: is missing"),
        ({"transport": "wedge"}, "name: is missing"),
        ({"name": "t", "transport": "serial"}, "say where it is by port, usb or serial_number"),
        ({"name": "t", "transport": "ble"}, "address, ble_name or service"),
        ({"name": "t", "transport": "wedge", "pattern": "number"}, "say mm, cm, m, in or ft"),
        ({"name": "t", "transport": "wedge", "unit": "cm"}, "remove one of the two"),
        (
            {"name": "t", "transport": "wedge", "pattern": "{scale}{value}{unit}",
             "scale": "girth"},
            "remove one of the two",
        ),
    ],
)  # fmt: skip
def test_keys_that_disagree(table: dict[str, object], wrong: str) -> None:
    with pytest.raises(OperatorError, match=wrong):
        device_from(table)


def test_doubled_names_and_shapes_are_refused() -> None:
    wedge = {"name": "t", "transport": "wedge"}
    assert devices_from([wedge]) == (DeviceSettings(name="t", transport="wedge"),)
    with pytest.raises(OperatorError, match="two devices are named 't'"):
        devices_from([wedge, wedge])
    with pytest.raises(OperatorError, match="table"):
        devices_from({"name": "t"})
    with pytest.raises(OperatorError, match=r"\[\[device\]\]"):
        devices_from(["tape"])
