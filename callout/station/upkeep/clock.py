"""The wall clock, checked against a steady one: detects when it was set and when it slept.

Times of the journal are wall times, since that is what people ask for; which of two things came
first must not depend on a clock that jumps.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from callout.sound.pauses import seconds_with_sleep

LEAST_JUMP_S = 2.0
"""Less is the slow correction made by any network clock."""
LEAST_SLEEP_S = 5.0

Seconds = Callable[[], float]
TellMoved = Callable[[timedelta], None]
TellZone = Callable[[str], None]


class Clock:
    """Call ``now`` often: a jump is noticed by the first call after it."""

    def __init__(
        self,
        wall: Seconds = time.time,
        steady: Seconds = seconds_with_sleep,
        awake: Seconds | None = None,
    ) -> None:
        self._wall, self._steady, self._awake = wall, steady, awake or time.monotonic
        self._offset_s = wall() - steady()
        self._slept_s = steady() - self._awake()
        self._moved: list[TellMoved] = []
        self._slept: list[TellMoved] = []
        self._zoned: list[TellZone] = []
        self._zone: str | None = None

    def on_move(self, tell: TellMoved) -> None:
        """Call ``tell`` with how much the clock was set, forward or (negative) back."""
        self._moved.append(tell)

    def on_sleep(self, tell: TellMoved) -> None:
        """Call ``tell`` with how long the machine slept, once it is awake."""
        self._slept.append(tell)

    def on_zone(self, tell: TellZone) -> None:
        """Call ``tell`` with the offset from UTC (``+02:00``) when the machine's changes."""
        self._zoned.append(tell)

    def now(self) -> datetime:
        """The time with the present offset of the machine's time zone."""
        time.tzset()  # the zone may have changed since the day began
        wall_s, steady_s = self._wall(), self._steady()
        by_s, self._offset_s = wall_s - steady_s - self._offset_s, wall_s - steady_s
        slept_s = steady_s - self._awake()
        for_s, self._slept_s = slept_s - self._slept_s, slept_s
        if abs(by_s) >= LEAST_JUMP_S:
            for tell in self._moved:
                tell(timedelta(seconds=by_s))
        if for_s >= LEAST_SLEEP_S:
            for tell in self._slept:
                tell(timedelta(seconds=for_s))
        now = datetime.fromtimestamp(wall_s, UTC).astimezone()
        before, self._zone = self._zone, now.isoformat()[-6:]
        if before not in (None, self._zone):
            for zoned in self._zoned:
                zoned(self._zone)
        return now
