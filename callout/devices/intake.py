"""The pure gate in front of each device: everything that it sends passes here first.

Bytes (or packets) with their time go in; measurements and counted refusals come out. Memory, lines
per second and work are bounded; no clock, no thread, no port.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from callout.core.units import Scale
from callout.devices.line_format.framing import LineFramer
from callout.devices.line_format.lines import LineFormat, Read, read_line
from callout.devices.line_format.template import compile_template
from callout.devices.measurement import Measurement, Reason, Refused
from callout.devices.presentation import PresentationFormat, read_value

Taken = Measurement | Refused


@dataclass(frozen=True)
class Limits:
    """What a device may send. A person presses once a second at most.

    ``lines_a_second`` may come, with as many again in a burst; the same frame within ``repeat_s``
    is a repetition by the device; an unfinished line is dropped after ``patience_s``; a line that
    begins within ``settle_s`` of connecting may lack its beginning, and is not taken.
    """

    lines_a_second: int = 100
    repeat_s: float = 0.15
    patience_s: float = 2.0
    settle_s: float = 0.05
    longest: int = 256


class Intake:
    """The gate of one device. All times ``at_s`` are monotonic seconds; ``at`` is wall time."""

    def __init__(self, device: str, how: LineFormat, limits: Limits | None = None) -> None:
        self.device = device
        self.limits = limits or Limits()
        self._how = how
        self._framer = LineFramer(self.limits.longest, self.limits.patience_s)
        self._counts: Counter[Reason] = Counter()
        self._allowance = float(self.limits.lines_a_second)
        self._filled_s: float | None = None
        self._last: tuple[bytes, float] | None = None
        self._connected_s: float | None = None

    @property
    def refused(self) -> Mapping[Reason, int]:
        """How many were refused since the start, by reason."""
        return dict(self._counts)

    def connected(self, at_s: float) -> list[Taken]:
        """The device is there (again): nothing from the old connection may join the new one."""
        self._connected_s = at_s
        return self._count(self._framer.reset())

    def lost(self) -> list[Taken]:
        """The device is gone; an unfinished line is discarded."""
        return self._count(self._framer.reset())

    def overflowed(self, packets: int) -> list[Taken]:
        """Packets were dropped before they got here: the lines around them must not be joined."""
        self._framer.spoil(Reason.CUT)
        return self._count([Refused(Reason.FLOOD, packets)])

    def stream(self, data: bytes, at: datetime, at_s: float) -> list[Taken]:
        """Bytes of a stream of lines, as they came."""
        begins_cut = self._may_be_cut(at_s)
        lines, dropped = self._framer.feed(data, at_s)
        taken = self._count(dropped)
        if begins_cut and data:
            taken += self._drop_first(lines)
        return taken + self._lines(lines, at, at_s)

    def packet(self, data: bytes, at: datetime, at_s: float) -> list[Taken]:
        """One packet that is one line, without a line end of its own."""
        line = data.strip(b"\r\n\0")
        return self._lines([line], at, at_s) if line else []

    def value(
        self, data: bytes, form: PresentationFormat, scale: Scale, at: datetime, at_s: float
    ) -> list[Taken]:
        """One value of a characteristic that describes itself."""
        wrong = self._gate(data, at_s)
        outcome = Refused(wrong, raw=data[:64]) if wrong else read_value(data, form, scale)
        return self._told([(data, outcome)], at)

    def _may_be_cut(self, at_s: float) -> bool:
        if self._connected_s is None:
            return False
        early = at_s - self._connected_s < self.limits.settle_s
        self._connected_s = None
        return early

    def _drop_first(self, lines: list[bytes]) -> list[Taken]:
        """Drop the first line after connecting, finished or not: it may lack its beginning."""
        if lines:
            return self._count([Refused(Reason.CUT, raw=lines.pop(0)[:64])])
        if self._framer.held:
            self._framer.spoil(Reason.CUT)
        return []

    def _lines(self, lines: list[bytes], at: datetime, at_s: float) -> list[Taken]:
        outcomes: list[tuple[bytes, Read | Refused]] = []
        for line in lines:
            wrong = self._gate(line, at_s)
            refused = Refused(wrong, raw=line[:64]) if wrong else None
            outcomes.append((line, refused or read_line(line, self._how)))
        return self._told(outcomes, at)

    def _gate(self, frame: bytes, at_s: float) -> Reason | None:
        """Flooding and repetition are checked before any work is spent on the frame."""
        if self._filled_s is not None and at_s > self._filled_s:
            gained = (at_s - self._filled_s) * self.limits.lines_a_second
            self._allowance = min(self._allowance + gained, float(self.limits.lines_a_second))
        self._filled_s = at_s
        if self._allowance < 1:
            return Reason.FLOOD
        self._allowance -= 1
        last, self._last = self._last, (frame, at_s)
        if last and last[0] == frame and at_s - last[1] < self.limits.repeat_s:
            return Reason.REPEATED
        return None

    def _told(self, outcomes: list[tuple[bytes, Read | Refused]], at: datetime) -> list[Taken]:
        """Measurements in order, then one refusal per reason."""
        taken: list[Taken] = []
        refusals: dict[Reason, Refused] = {}
        for raw, outcome in outcomes:
            if isinstance(outcome, Refused):
                earlier = refusals.get(outcome.reason, replace(outcome, count=0))
                refusals[outcome.reason] = replace(earlier, count=earlier.count + 1)
            else:
                taken.append(self._measurement(raw, outcome, at))
        return taken + self._count(list(refusals.values()))

    def _measurement(self, raw: bytes, read: Read, at: datetime) -> Measurement:
        return Measurement(read.value, read.unit, read.scale, self.device, at, raw, read.tag)

    def _count(self, refusals: list[Refused]) -> list[Taken]:
        for refusal in refusals:
            self._counts[refusal.reason] += refusal.count
        return list(refusals)


class Tap(Intake):
    """A gate that shows every line as it came and takes none: for working out a pattern."""

    def __init__(self, device: str, seen: Callable[[bytes], None]) -> None:
        super().__init__(device, LineFormat(compile_template("number")))
        self._seen = seen

    def _lines(self, lines: list[bytes], at: datetime, at_s: float) -> list[Taken]:
        for line in lines:
            if self._gate(line, at_s) is None:
                self._seen(line)
        return []
