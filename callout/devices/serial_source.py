"""A tape on a serial port: USB, Bluetooth serial profile, or any URL that pyserial opens.

Survives unplugging: it looks for the port again, waiting longer each time, and a line cut off by
unplugging is discarded. A thread of its own reads bytes for ``intake``; nothing is decoded here.
"""

from __future__ import annotations

import asyncio
import errno
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Any

from callout.core.errors import DeviceError
from callout.core.saying import Saying, saying
from callout.devices.intake import Intake
from callout.devices.measurement import NoticeKind, Put
from callout.devices.ports import list_ports, port_of
from callout.devices.reporting import Backoff, Clock, Reporter
from callout.devices.settings import PARITIES, DeviceSettings, intake_of

READ_S = 0.1
MOST_AT_ONCE = 4096


def open_port(settings: DeviceSettings) -> Any:
    """The open pyserial port. Blocks; raises OSError or serial.SerialException (an OSError).

    Raises DeviceError for a URL that pyserial does not know, or if several ports fit.
    """
    import serial

    path = port_of(settings, () if settings.port else list_ports())
    if path is None:
        raise OSError(errno.ENODEV, "not plugged in")
    try:
        return serial.serial_for_url(
            path,
            baudrate=settings.baud,
            bytesize=settings.data_bits,
            parity=PARITIES[settings.parity],
            stopbits=float(settings.stop_bits),
            timeout=READ_S,
            # Two programs on one port would each get half of the bytes.
            exclusive=True,
        )
    except ValueError as error:
        raise DeviceError(f"{settings.name}: port {path!r} cannot be opened: {error}") from None


def read_some(port: Any) -> bytes:
    """The bytes that arrived, at most 4096; empty after a tenth of a second of silence.

    Blocks. Raises OSError once the port is gone and everything read before was returned.
    """
    data: bytes = port.read(1)
    with suppress(OSError):  # What was read before is good; the next read meets the same fault.
        while data and len(data) < MOST_AT_ONCE and (waiting := port.in_waiting):
            data += port.read(min(waiting, MOST_AT_ONCE - len(data)))
    return data


class SerialSource:
    """One serial device; ``opener`` may be replaced, as tests do."""

    def __init__(
        self,
        settings: DeviceSettings,
        opener: Callable[[DeviceSettings], Any] = open_port,
        clock: Clock | None = None,
        intake: Intake | None = None,
    ) -> None:
        self._settings, self._open = settings, opener
        self._clock = clock or Clock()
        self._intake = intake or intake_of(settings)
        self._backoff = Backoff(settings.retry_s, settings.longest_retry_s)

    async def run(self, put: Put) -> None:
        """Listen until cancelled. Raises DeviceError for faults that waiting cannot mend."""
        report = Reporter(self._intake, put, self._clock)
        pool = ThreadPoolExecutor(1, thread_name_prefix=f"tape {self._settings.name}")
        report.tell(NoticeKind.SEARCHING, saying("tape-searching", device=self._settings.name))
        try:
            while True:
                await self._connection(pool, report)
                await asyncio.sleep(self._backoff.next_s())
        finally:
            report.close()
            pool.shutdown(wait=False)

    async def _connection(self, pool: ThreadPoolExecutor, report: Reporter) -> None:
        """Serve one connection, from opening the port to losing it."""
        loop = asyncio.get_running_loop()
        opening = loop.run_in_executor(pool, self._open, self._settings)
        try:
            port = await asyncio.shield(opening)
        except asyncio.CancelledError:
            opening.add_done_callback(_close_late)
            raise
        except OSError as error:
            report.tell(NoticeKind.SEARCHING, self._why(error))
            return
        report.taken(self._intake.connected(self._clock.monotonic()))
        report.tell(NoticeKind.CONNECTED, saying("tape-connected", device=self._settings.name))
        try:
            await self._read(pool, port, report)
        except OSError as error:
            report.taken(self._intake.lost())
            says = saying("tape-unplugged", device=self._settings.name)
            if error.errno:
                why = _short(error)
                says = saying("tape-lost-why", device=self._settings.name, error=why)
            report.tell(NoticeKind.LOST, says)
        finally:
            await asyncio.shield(loop.run_in_executor(pool, _close, port))

    async def _read(self, pool: ThreadPoolExecutor, port: Any, report: Reporter) -> None:
        loop = asyncio.get_running_loop()
        while True:
            data = await loop.run_in_executor(pool, read_some, port)
            if data:
                self._backoff.reset()
                now, at_s = self._clock.now(), self._clock.monotonic()
                report.taken(self._intake.stream(data, now, at_s))

    def _why(self, error: OSError) -> Saying:
        name = self._settings.name
        if isinstance(error, PermissionError) or error.errno == errno.EACCES:
            port = self._settings.port
            return saying("tape-no-permission", device=name, port=port or saying("its-port"))
        return saying("tape-not-there", device=name, error=_short(error))


def _short(error: OSError) -> str:
    # pyserial's message repeats the path and the number; the system's is plain.
    if error.errno and error.errno > 0 and error.errno != errno.ENODEV:
        return os.strerror(error.errno).lower()
    return (error.strerror or str(error) or type(error).__name__)[:120]


def _close(port: Any) -> None:
    with suppress(OSError):  # It may be gone already.
        port.close()


def _close_late(opening: asyncio.Future[Any]) -> None:
    if not opening.cancelled() and opening.exception() is None:
        _close(opening.result())
