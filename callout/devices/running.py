"""Starts the survey's devices and passes everything they send to one callback.

``DeviceThread`` is for programs without an event loop; ``run_source`` for those with one. The
caller decides what to do with an item.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Sequence
from contextlib import suppress

from callout.core.errors import CalloutError, OperatorError, ProgrammerError
from callout.devices.intake import Intake
from callout.devices.measurement import DeviceNotice, NoticeKind, Put, Source
from callout.devices.reporting import Clock
from callout.devices.serial_source import SerialSource
from callout.devices.settings import DeviceSettings


def make_source(settings: DeviceSettings, intake: Intake | None = None) -> Source:
    """The source for one device; ``intake`` may replace its gate.

    Raises OperatorError for a wedge, which types into the screen.
    """
    if settings.transport == "serial":
        return SerialSource(settings, intake=intake)
    if settings.transport == "ble":
        # Imported late: bleak loads the system's Bluetooth libraries.
        from callout.devices.ble_source import BleSource

        return BleSource(settings, intake=intake)
    raise OperatorError(f"{settings.name}: a {settings.transport} device types into the screen")


async def run_source(settings: DeviceSettings, put: Put) -> None:
    """Listen to one device until cancelled; a lasting fault is reported and ends it.

    ``put`` is called on the event loop's thread and must return soon.
    """
    try:
        await make_source(settings).run(put)
    except CalloutError as error:
        put(failed(settings, error))
    except Exception as error:
        # Reported now, since the thread's owner learns of it only at the end.
        defect = ProgrammerError(f"{settings.name}: stopped by a defect: {error!r}")
        put(failed(settings, defect))
        raise defect from error


def failed(settings: DeviceSettings, error: CalloutError) -> DeviceNotice:
    """The notice that a device is given up, and why."""
    return DeviceNotice(settings.name, NoticeKind.FAILED, error.saying, Clock().now())


class DeviceThread:
    """Listens to several devices on a thread of its own; wedges are left to the screen.

    ``put`` is called on that thread, one call at a time.
    """

    def __init__(self, devices: Sequence[DeviceSettings], put: Put) -> None:
        self._devices = [one for one in devices if one.transport != "wedge"]
        self._put = put
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None
        self._running = threading.Event()
        self._fault: BaseException | None = None
        self._thread = threading.Thread(target=self._work, name="devices", daemon=True)

    def start(self) -> None:
        """Start listening; returns once the thread is running."""
        self._thread.start()
        self._running.wait()

    def stop(self) -> None:
        """Stop, and release every device. Raises ProgrammerError if a defect ended one early."""
        if self._loop is not None and self._stop is not None:
            with suppress(RuntimeError):  # The loop has ended by itself.
                self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join()
        if self._fault is not None:
            raise self._fault

    def _work(self) -> None:
        try:
            asyncio.run(self._all())
        except BaseException as fault:
            self._fault = fault
        finally:
            self._running.set()

    async def _all(self) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        tasks = [asyncio.create_task(run_source(one, self._put)) for one in self._devices]
        stopping = asyncio.create_task(self._stop.wait())
        self._running.set()
        try:
            await self._until_stopped(tasks, stopping)
        finally:
            for task in (*tasks, stopping):
                task.cancel()
            await asyncio.gather(*tasks, stopping, return_exceptions=True)

    async def _until_stopped(
        self, tasks: Sequence[asyncio.Task[None]], stopping: asyncio.Task[bool]
    ) -> None:
        waiting: set[asyncio.Task[None] | asyncio.Task[bool]] = {*tasks, stopping}
        while not stopping.done():
            done, waiting = await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
            for task in done - {stopping}:
                # A defect in one device must not silence the others.
                self._fault = self._fault or task.exception()
