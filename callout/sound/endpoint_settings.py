"""The settings of endpointing, with units in their names, and their ranges.

Defaults are measured by `benchmarks/endpointing.py` (see docs/sound.md). No behaviour here.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from callout.core.errors import OperatorError
from callout.sound.frames import FRAME_S

_RANGES: dict[str, tuple[float, float]] = {
    "vad_mode": (0, 3),
    "pre_roll_s": (0.0, 2.0),
    "hang_over_s": (0.09, 5.0),
    "whole_after_s": (0.09, 5.0),
    "shortest_s": (0.03, 2.0),
    "longest_s": (1.0, 120.0),
    "onset_window_s": (0.03, 0.6),
    "onset_voiced_s": (0.03, 0.6),
    "gate_over_floor_db": (0.0, 40.0),
    "gate_least_dbfs": (-96.0, 0.0),
    "floor_window_s": (1.0, 120.0),
    "floor_first_dbfs": (-96.0, 0.0),
    "echo_tail_s": (0.0, 5.0),
}


def _frames(seconds: float) -> int:
    return round(seconds / FRAME_S)


@dataclass(frozen=True, slots=True)
class EndpointSettings:
    """All times in seconds, rounded to frames of 30 ms when used. OperatorError if out of range."""

    vad_mode: int = 2
    """0 to 3: how readily the detector calls a frame noise."""
    pre_roll_s: float = 0.30
    hang_over_s: float = 0.75
    whole_after_s: float = 0.21
    """The pause after which what was said so far may be looked at: it may be whole already."""
    shortest_s: float = 0.12
    """Least voiced time; less is a knock or a click."""
    longest_s: float = 12.0
    onset_window_s: float = 0.15
    onset_voiced_s: float = 0.09
    """Speech begins when this much of the window is voiced."""
    gate_over_floor_db: float = 6.0
    gate_least_dbfs: float = -60.0
    floor_window_s: float = 10.0
    floor_first_dbfs: float = -70.0
    echo_tail_s: float = 0.30

    def __post_init__(self) -> None:
        for field in fields(self):
            value, (low, high) = getattr(self, field.name), _RANGES[field.name]
            number = int if field.name == "vad_mode" else (int, float)
            usable = isinstance(value, number) and not isinstance(value, bool)
            if not usable or not low <= value <= high:
                raise OperatorError(
                    f"Endpoint setting {field.name} is {value}; it must be from {low} to {high}."
                )
        if self.onset_voiced_s > self.onset_window_s:
            raise OperatorError(
                f"Endpoint setting onset_voiced_s is {self.onset_voiced_s}, longer than its "
                f"window onset_window_s, {self.onset_window_s}; make it shorter."
            )

    @property
    def pre_roll_frames(self) -> int:
        return _frames(self.pre_roll_s)

    @property
    def hang_over_frames(self) -> int:
        return _frames(self.hang_over_s)

    @property
    def whole_after_frames(self) -> int:
        return _frames(self.whole_after_s)

    @property
    def shortest_frames(self) -> int:
        return _frames(self.shortest_s)

    @property
    def longest_frames(self) -> int:
        return _frames(self.longest_s)

    @property
    def onset_window_frames(self) -> int:
        return _frames(self.onset_window_s)

    @property
    def onset_voiced_frames(self) -> int:
        return _frames(self.onset_voiced_s)

    @property
    def floor_window_frames(self) -> int:
        return _frames(self.floor_window_s)
