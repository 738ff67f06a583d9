"""What a device delivers: a measurement, a refusal with its reason, or a notice for people.

Values only. ``lines`` and ``presentation`` make them from bytes; the session joins them to tags.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from enum import Enum
from typing import Protocol

from callout.core.saying import Saying
from callout.core.units import Scale, Unit, too_large, too_small


@dataclass(frozen=True)
class Measurement:
    """One press of a device: ``value`` in ``unit``, exactly as sent, never rounded here.

    ``received_at`` carries its offset from UTC; ``raw`` is the line or packet as it came; ``tag``
    is set only if the device itself sent one.
    """

    value: Decimal
    unit: Unit
    scale: Scale
    device: str
    received_at: datetime
    raw: bytes
    tag: str | None = None


class Reason(Enum):
    """Why something a device sent was not taken; the value is the plain wording."""

    NOISE = "not readable text"
    TOO_LONG = "a line without an end"
    CUT = "a line cut short"
    NO_MATCH = "does not fit the pattern"
    CHECKSUM = "checksum does not agree"
    NOT_A_NUMBER = "not a number"
    AMBIGUOUS = "comma may be a decimal or a thousands mark"
    UNKNOWN_UNIT = "unit not known"
    UNKNOWN_SCALE = "neither diameter nor girth"
    NOT_POSITIVE = "zero or negative"
    TOO_SMALL = "smaller than any tree"
    TOO_LARGE = "larger than any tree"
    REPEATED = "the same frame again at once"
    FLOOD = "too many lines a second"


@dataclass(frozen=True)
class Refused:
    """``count`` items refused for one reason; ``raw`` is one of them, cut to 64 bytes."""

    reason: Reason
    count: int = 1
    raw: bytes = b""


class NoticeKind(Enum):
    """What a notice is about."""

    SEARCHING = "searching"
    CONNECTED = "connected"
    LOST = "lost"
    BATTERY = "battery"
    REFUSED = "refused"
    FAILED = "failed"


@dataclass(frozen=True)
class DeviceNotice:
    """Something about a device that a person should see; ``says`` holds the text.

    ``refused`` counts every refusal by reason since the source started, ``raw`` is the latest of
    them, cut to 64 bytes; ``battery`` is per cent.
    """

    device: str
    kind: NoticeKind
    says: Saying
    at: datetime
    battery: int | None = None
    refused: Mapping[Reason, int] = field(default_factory=dict)
    raw: bytes = b""


Item = Measurement | DeviceNotice
Put = Callable[[Item], None]


class Source(Protocol):
    """A device that is being listened to."""

    async def run(self, put: Put) -> None:
        """Pass every item to ``put``, on the event loop's thread, until cancelled.

        Reconnects by itself; raises DeviceError only for faults that waiting cannot mend.
        """


def checked_size(value: Decimal, unit: Unit) -> Reason | None:
    """Why ``value`` in ``unit`` cannot be a tree's, or None. Any Decimal may be given."""
    if not value.is_finite():
        return Reason.NOT_A_NUMBER
    if value <= 0:
        return Reason.NOT_POSITIVE
    # The exponent is compared first, so that a huge one is never multiplied out.
    if value.adjusted() > 8 or too_large(value, unit, Scale.GIRTH):
        return Reason.TOO_LARGE
    if value.adjusted() < -8 or too_small(value, unit):
        return Reason.TOO_SMALL
    return None
