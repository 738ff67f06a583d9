"""A device that acts as a keyboard: it types its value and Enter.

The screen hands over what was typed, with when each key came; nothing is read from a keyboard
here.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

from callout.devices.intake import Taken
from callout.devices.settings import DeviceSettings, intake_of

FASTEST_PERSON_S = 0.03
"""Between two keys: the fastest typists need about 0.06 s (from memory), devices under 0.02."""


class Wedge:
    """The gate of one keyboard wedge; the same refusals as for any other device."""

    def __init__(self, settings: DeviceSettings) -> None:
        self.intake = intake_of(settings)

    def typed(self, text: str, at: datetime, at_s: float) -> list[Taken]:
        """One line as typed, without its Enter. ``at_s``: monotonic seconds."""
        return self.intake.packet(text.encode("utf-8", "replace"), at, at_s)


def typed_by_device(key_times_s: Sequence[float]) -> bool:
    """Whether a line was typed by a device: three keys or more, none as slow as a person's."""
    gaps = [later - earlier for earlier, later in pairwise(key_times_s)]
    return len(gaps) >= 2 and all(0 <= gap < FASTEST_PERSON_S for gap in gaps)
