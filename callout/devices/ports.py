"""The serial ports of this machine, and which of them a survey means.

Matching is pure, over a list of ports; only ``list_ports`` asks the system. Opening is in
``serial_source``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from callout.core.errors import DeviceError
from callout.devices.settings import DeviceSettings


@dataclass(frozen=True)
class PortInfo:
    """A serial port as the system lists it; ``usb`` is ``vid:pid`` in hex, or empty."""

    path: str
    told: str = ""
    usb: str = ""
    serial_number: str = ""


def list_ports() -> tuple[PortInfo, ...]:
    """The serial ports of this machine, by path."""
    from serial.tools import list_ports as system

    return tuple(
        PortInfo(
            path=port.device,
            told=port.description if port.description != "n/a" else "",
            usb=f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None else "",
            serial_number=port.serial_number or "",
        )
        for port in sorted(system.comports())
    )


def port_of(settings: DeviceSettings, ports: Sequence[PortInfo]) -> str | None:
    """The path or URL to open; None while no port fits.

    Raises DeviceError if more than one fits: a tape is never guessed.
    """
    if settings.port:
        return settings.port
    fitting = [
        port.path
        for port in ports
        if (not settings.usb or port.usb == settings.usb)
        and (not settings.serial_number or port.serial_number == settings.serial_number)
    ]
    if len(fitting) > 1:
        raise DeviceError(
            f"{settings.name}: {', '.join(fitting)} all fit; set serial_number or port to tell "
            "them apart"
        )
    return fitting[0] if fitting else None
