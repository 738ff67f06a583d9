"""How ``callout devices teach`` works out a tape's pattern from three presses on a known size."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from callout.cli.asking import ask
from callout.core.errors import OperatorError
from callout.core.units import Scale, parse_decimal, parse_unit
from callout.devices.intake import Tap
from callout.devices.line_format.teach import PRESSES, Known, Taught, work_out
from callout.devices.measurement import DeviceNotice, Item
from callout.devices.running import make_source
from callout.devices.settings import DeviceSettings, device_from, table_of
from callout.wording.language_files import english

FORMAT_KEYS = ("pattern", "unit", "scale", "decimal")


def teach(device: DeviceSettings, given: Mapping[str, Any]) -> DeviceSettings | None:
    """Three presses on a known size, then the pattern; None if the person says no."""
    scale = Scale.GIRTH if given.get("girth") else Scale.DIAMETER
    known = _known(given.get("girth") or given["diameter"], scale)
    size = f"{known.size} {known.unit.value} of {known.scale.value}"
    print(f"Press {PRESSES} times on {size}.")
    lines = asyncio.run(_presses(device, given.get("seconds", 120.0)))
    explained = work_out(lines, known)
    for number, taught in enumerate(explained, 1):
        print(f"  {number}  {_taught_told(taught)}")
    if given.get("yes"):
        return _as_taught(device, explained[0])
    answer = ask("Which is right (its number; Enter for none)? ")
    if answer.isdecimal() and 1 <= int(answer) <= len(explained):
        return _as_taught(device, explained[int(answer) - 1])
    print("Nothing was kept.")
    return None


def _known(text: str, scale: Scale) -> Known:
    digits = text.rstrip("abcdefghijklmnopqrstuvwxyz ")
    known = Known(parse_decimal(digits), parse_unit(text[len(digits) :]), scale)
    if known.size <= 0:
        raise OperatorError(f"{text!r}: the known size must be above zero, as 50cm")
    return known


async def _presses(device: DeviceSettings, seconds: float) -> list[bytes]:
    lines: list[bytes] = []
    enough = asyncio.Event()

    def seen(line: bytes) -> None:
        lines.append(line)
        print(f"  {len(lines)}  {line!r}", flush=True)
        if len(lines) >= PRESSES:
            enough.set()

    def put(item: Item) -> None:
        if isinstance(item, DeviceNotice):
            print(f"  {english().part(item.says)}", flush=True)

    source = asyncio.create_task(make_source(device, Tap(device.name, seen)).run(put))
    waiting = asyncio.create_task(enough.wait())
    try:
        await asyncio.wait({source, waiting}, timeout=seconds, return_when="FIRST_COMPLETED")
        if source.done():
            source.result()
    finally:
        source.cancel()
        waiting.cancel()
        await asyncio.gather(source, waiting, return_exceptions=True)
    return lines[:PRESSES]


def _taught_told(taught: Taught) -> str:
    unit = f", unit {taught.unit.value}" if taught.unit else ", unit from the line"
    scale = f", {taught.scale.value}" if taught.scale else ", side from the line"
    sizes = ", ".join(f"{one.value} {one.unit.value}" for one in taught.readings)
    return f"pattern {taught.pattern!r}{unit}{scale}: reads {sizes}"


def _as_taught(device: DeviceSettings, taught: Taught) -> DeviceSettings:
    table = {key: value for key, value in table_of(device).items() if key not in FORMAT_KEYS}
    table.update(pattern=taught.pattern, decimal=taught.mark.value)
    if taught.unit is not None:
        table["unit"] = taught.unit.value
    if taught.scale is not None:
        table["scale"] = taught.scale.value
    return device_from(table)
