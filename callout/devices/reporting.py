"""What all transports share: time stamps, notices, and growing waits between attempts.

Refusals are reported at once, then at most once a second, so that a flood of noise is one line on
the screen. No port is opened here.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from callout.core.saying import Saying, saying
from callout.devices.intake import Intake, Taken
from callout.devices.measurement import DeviceNotice, Measurement, NoticeKind, Put

TELL_EVERY_S = 1.0


def _now() -> datetime:
    return datetime.now().astimezone()


@dataclass(frozen=True)
class Clock:
    """Wall time for people and the journal, monotonic seconds for all durations."""

    now: Callable[[], datetime] = _now
    monotonic: Callable[[], float] = time.monotonic


class Backoff:
    """Seconds to wait before trying again: doubled each time, up to ``longest_s``."""

    def __init__(self, first_s: float, longest_s: float) -> None:
        self._first_s, self._longest_s = first_s, max(first_s, longest_s)
        self._next_s = first_s

    def next_s(self) -> float:
        """How long to wait this time."""
        wait, self._next_s = self._next_s, min(self._next_s * 2, self._longest_s)
        return wait

    def reset(self) -> None:
        """It works again: the next wait is short."""
        self._next_s = self._first_s


class Reporter:
    """Passes one device's measurements and notices to ``put``, on the event loop's thread."""

    def __init__(self, intake: Intake, put: Put, clock: Clock) -> None:
        self._intake, self._put, self._clock = intake, put, clock
        self._timer: asyncio.TimerHandle | None = None
        self._untold = False
        self._latest = b""
        self._last_told: tuple[Saying, NoticeKind] | None = None

    def tell(self, kind: NoticeKind, says: Saying, battery: int | None = None) -> None:
        """Send a notice, unless it equals the previous one."""
        if (says, kind) != self._last_told:
            self._last_told = (says, kind)
            self._send(kind, says, battery)

    def taken(self, items: Sequence[Taken]) -> None:
        """Pass on everything the intake made of some bytes."""
        for item in items:
            if isinstance(item, Measurement):
                self._put(item)
            else:
                self._untold, self._latest = True, item.raw
        if self._untold and self._timer is None:
            self._tell_refusals()

    def close(self) -> None:
        """Report what is still held back, and stop the timer."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._untold:
            self._send_refusals()

    def _tell_refusals(self) -> None:
        self._timer = None
        if self._untold:
            self._send_refusals()
            self._timer = asyncio.get_running_loop().call_later(TELL_EVERY_S, self._tell_refusals)

    def _send_refusals(self) -> None:
        self._untold = False
        counts = self._intake.refused
        why = tuple(
            saying("tape-refused", count=count, reason=reason.value)
            for reason, count in counts.items()
        )
        says = saying("tape-not-taken", device=self._intake.device, why=why)
        self._send(NoticeKind.REFUSED, says, None)

    def _send(self, kind: NoticeKind, says: Saying, battery: int | None) -> None:
        self._put(
            DeviceNotice(
                self._intake.device,
                kind,
                says,
                self._clock.now(),
                battery,
                self._intake.refused,
                self._latest if kind is NoticeKind.REFUSED else b"",
            )
        )
