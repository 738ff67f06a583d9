"""A device that acts as a keyboard: it types its value and Enter.

The screen passes what was typed, with the time of each key; no keyboard is read here.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

from callout.devices.intake import Taken
from callout.devices.settings import DeviceSettings, intake_of

FASTEST_PERSON_S = 0.03
"""Seconds between keys: the fastest typists need about 0.06 (from memory), devices under 0.02."""


class Wedge:
    """The gate of one keyboard wedge; refuses the same things as for any other device."""

    def __init__(self, settings: DeviceSettings) -> None:
        self.intake = intake_of(settings)

    def typed(self, text: str, at: datetime, at_s: float) -> list[Taken]:
        """One line as typed, without its Enter. ``at_s``: monotonic seconds."""
        return self.intake.packet(text.encode("utf-8", "replace"), at, at_s)


def typed_by_device(key_times_s: Sequence[float]) -> bool:
    """Whether a device typed the line: three keys or more, all faster than a person's."""
    gaps = [later - earlier for earlier, later in pairwise(key_times_s)]
    return len(gaps) >= 2 and all(0 <= gap < FASTEST_PERSON_S for gap in gaps)
