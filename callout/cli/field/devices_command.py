"""``callout devices``: lists devices, shows a tape's lines as they come, and configures it.

Talks to a person; finding, reading and configuring devices is in ``callout.devices``.
"""

from __future__ import annotations

import argparse
import asyncio
import queue
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from callout.cli.asking import ask
from callout.cli.field.devices_teach import FORMAT_KEYS, teach
from callout.core.errors import DeviceError, OperatorError
from callout.core.model import PlotSettings
from callout.devices.measurement import DeviceNotice, Item, Measurement, NoticeKind
from callout.devices.ports import PortInfo, list_ports
from callout.devices.running import DeviceThread
from callout.devices.settings import DeviceSettings, device_from, devices_from, table_of
from callout.devices.survey_file import with_device
from callout.journal.folder import SurveyFolder, open_survey
from callout.sound.sound_devices import SoundDevice, list_microphones, list_speakers
from callout.survey.files import storage_errors, write_whole
from callout.wording.language_files import english

KEYS = (
    "name",
    "port",
    "usb",
    "serial_number",
    "baud",
    "parity",
    "data_bits",
    "service",
    "characteristic",
    *FORMAT_KEYS,
)


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    options = _options()
    parser = subparsers.add_parser("devices", parents=[options])
    parser.set_defaults(run=run, task="watch")
    tasks = parser.add_subparsers(metavar="[teach]")
    teaching = tasks.add_parser(
        "teach", parents=[options], help="work out the pattern from three presses"
    )
    known = teaching.add_mutually_exclusive_group(required=True)
    known.add_argument("--girth", metavar="SIZE", help="a straight length or girth, e.g. 50cm")
    known.add_argument("--diameter", metavar="SIZE", help="a known diameter or width, e.g. 10cm")
    teaching.set_defaults(run=run, task="teach")


def _options() -> argparse.ArgumentParser:
    """Options of both forms; absent ones are left out, so that neither overrides the other."""
    options = argparse.ArgumentParser(add_help=False, argument_default=argparse.SUPPRESS)
    options.add_argument("--survey", type=Path, metavar="SURVEY", help="where to write it down")
    options.add_argument("--name", help="what to call it (default: tape)")
    options.add_argument("--port", help="path of a serial port, or socket:// and the like")
    options.add_argument("--usb", metavar="VID:PID", help="find the serial port by USB numbers")
    options.add_argument("--serial-number", help="find the serial port by serial number")
    options.add_argument("--ble", metavar="NAME", help="Bluetooth name or address")
    options.add_argument("--service", metavar="UUID", help="Bluetooth service it advertises")
    options.add_argument("--characteristic", metavar="UUID", help="where its readings come from")
    options.add_argument("--baud", type=int, help="default: 9600")
    options.add_argument("--parity", help="none, even, odd, mark or space")
    options.add_argument("--data-bits", type=int)
    options.add_argument("--pattern", help="a preset or a pattern, e.g. '{value} {unit}'")
    options.add_argument("--unit", help="where the lines name none: mm, cm, m, in or ft")
    options.add_argument("--scale", help="diameter or girth")
    options.add_argument("--decimal", help="point, comma or either")
    options.add_argument("--presses", type=int, help="stop after so many readings")
    options.add_argument("--seconds", type=float, help="stop after so long")
    options.add_argument("--scan", type=float, help="seconds to look for Bluetooth (0: do not)")
    options.add_argument("--yes", action="store_true", help="write it down without asking")
    return options


def run(args: argparse.Namespace) -> int:
    """List, watch or teach, as asked."""
    given = vars(args)
    folder = open_survey(given["survey"]) if "survey" in given else None
    device = _device(given, folder)
    if device is None:
        choices = _list(given.get("scan", 5.0))
        device = _chosen(choices, given)
        if device is None:
            return 0
    if args.task == "teach":
        device = teach(device, given)
        if device is None:
            return 1
    elif _watch(device, given, folder) == 0:
        print("Nothing was read. If lines came that did not fit, try: callout devices teach")
        return 1
    _write(device, given, folder)
    return 0


def _device(given: Mapping[str, Any], folder: SurveyFolder | None) -> DeviceSettings | None:
    """The device that the options name: by its connection, or by its name in the survey."""
    table = {key: given[key] for key in KEYS if key in given}
    place = {"port", "usb", "serial_number"} & table.keys()
    if "ble" in given or "service" in table:
        if place:
            raise OperatorError(f"--{place.pop()} and --ble name two devices: give one")
        return device_from({**_named(table), "transport": "ble", **_ble(given.get("ble", ""))})
    if place:
        return device_from({**_named(table), "transport": "serial"})
    if "name" in given and folder is not None:
        for one in _written(folder):
            if one.name == given["name"]:
                return device_from({**table_of(one), **table})
        raise OperatorError(f"{folder.settings} has no device named {given['name']!r}")
    return None


def _named(table: Mapping[str, Any]) -> dict[str, Any]:
    return {"name": "tape", **table}


def _ble(text: str) -> dict[str, str]:
    if not text:
        return {}
    parts = text.replace("-", ":").split(":")
    is_address = len(parts) >= 5 and all(
        part and set(part.lower()) <= set("0123456789abcdef") for part in parts
    )
    return {"address": text} if is_address else {"ble_name": text}


def _list(seconds: float) -> list[dict[str, str]]:
    """Print the devices, and what each number stands for."""
    choices: list[dict[str, str]] = []
    ports = list_ports()
    print("Serial ports:" if ports else "Serial ports: none")
    for port in ports:
        choices.append(_port_choice(port))
        usb = f"  usb {port.usb}" if port.usb else ""
        number = f"  serial number {port.serial_number}" if port.serial_number else ""
        print(f"  {len(choices)}  {port.path}  {port.told}{usb}{number}")
    if seconds > 0:
        _list_ble(seconds, choices)
    for told, listed in (("Microphones", list_microphones), ("Loudspeakers", list_speakers)):
        _list_sound(told, listed)
    return choices


def _list_sound(told: str, listed: Callable[[], list[SoundDevice]]) -> None:
    """A part of a name is enough for ``microphone`` and ``speaker`` of ``survey.toml``."""
    try:
        found = listed()
    except DeviceError as error:
        print(f"{told}: {english().part(error.saying)}")
        return
    print(f"{told}:" if found else f"{told}: none")
    for one in found:
        print(f"  {one.name}")


def _port_choice(port: PortInfo) -> dict[str, str]:
    """USB numbers identify a device wherever it is plugged in; a path does not."""
    if port.usb:
        found = {"usb": port.usb, "serial_number": port.serial_number}
        return {"transport": "serial", **{key: value for key, value in found.items() if value}}
    return {"transport": "serial", "port": port.path}


def _list_ble(seconds: float, choices: list[dict[str, str]]) -> None:
    from callout.devices.ble_source import FAULTS, in_range, told

    try:
        seen = asyncio.run(in_range(seconds))
    except FAULTS as error:
        print(f"Bluetooth: {told(error)}")
        return
    print(f"Bluetooth in range ({seconds:g} s):" if seen else "Bluetooth in range: nothing heard")
    for one in seen:
        choices.append({"transport": "ble", "address": one.address})
        print(f"  {len(choices)}  {one.name or '(no name)'}  {one.address}  {one.rssi} dBm")


def _chosen(choices: Sequence[dict[str, str]], given: Mapping[str, Any]) -> DeviceSettings | None:
    if not choices or not sys.stdin.isatty():
        print("Then: callout devices --port PORT, or --ble NAME")
        return None
    answer = ask("Which one (its number; Enter for none)? ")
    if not answer:
        return None
    if not answer.isdecimal() or not 1 <= int(answer) <= len(choices):
        raise OperatorError(f"{answer!r} is no number from 1 to {len(choices)}")
    table = {key: given[key] for key in KEYS if key in given}
    return device_from({**_named(table), **choices[int(answer) - 1]})


def _items(device: DeviceSettings, given: Mapping[str, Any]) -> Iterator[Item]:
    """What the device sends until the time is up or the person stops."""
    waiting: queue.SimpleQueue[Item] = queue.SimpleQueue()
    thread = DeviceThread([device], waiting.put)
    until = time.monotonic() + given.get("seconds", float("inf"))
    thread.start()
    try:
        while time.monotonic() < until:
            try:
                yield waiting.get(timeout=0.2)
            except queue.Empty:
                continue
    except KeyboardInterrupt:
        print()
    finally:
        thread.stop()


def _watch(device: DeviceSettings, given: Mapping[str, Any], folder: SurveyFolder | None) -> int:
    """Show decoded lines and what would be recorded; returns the number of readings."""
    plots = _plots(folder)
    count = 0
    print("Press the button on the tape; Ctrl-C ends.")
    for item in _items(device, given):
        print(_told(item, plots), flush=True)
        count += isinstance(item, Measurement)
        if count and count == given.get("presses"):
            break
        if isinstance(item, DeviceNotice) and item.kind is NoticeKind.FAILED:
            raise DeviceError(item.says)
    return count


def _plots(folder: SurveyFolder | None) -> tuple[PlotSettings, ...]:
    if folder is None:
        return ()
    with folder.reading() as journal:
        return tuple(plot.settings for plot in journal.plots().values())


def _told(item: Item, plots: Sequence[PlotSettings]) -> str:
    from callout.devices.recorded import recorded_in

    if isinstance(item, DeviceNotice):
        return english().part(item.says) + (f"; the last was {item.raw!r}" if item.raw else "")
    told: dict[str, list[str]] = {}
    for plot in plots:
        told.setdefault(f"{recorded_in(item, plot)} {plot.unit.value}", []).append(plot.plot)
    recorded = "; ".join(f"{size} in {', '.join(names)}" for size, names in told.items())
    tag = f", tree {item.tag}" if item.tag else ""
    line = f"{item.value} {item.unit.value} of {item.scale.value}{tag}  from {item.raw!r}"
    return line + (f"  recorded as {recorded}" if recorded else "")


def _write(device: DeviceSettings, given: Mapping[str, Any], folder: SurveyFolder | None) -> None:
    """Put the device into the survey, if the person wants that."""
    if folder is not None and device in _written(folder):
        return
    lines = tomlkit.dumps({"device": [table_of(device)]}).strip()
    if folder is None:
        print(f"For survey.toml (or give --survey SURVEY):\n\n{lines}")
        return
    print(lines)
    if not given.get("yes") and ask(f"Write this into {folder.settings} [y/N]? ").lower() != "y":
        print("Not written.")
        return
    with storage_errors(f"cannot read {folder.settings}"):
        text = folder.settings.read_text(encoding="utf-8")
    write_whole(folder.settings, with_device(text, device).encode())
    print(f"Written into {folder.settings}.")


def _written(folder: SurveyFolder) -> tuple[DeviceSettings, ...]:
    return devices_from(folder.config().other.get("device", []))
