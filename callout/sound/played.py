"""What a loudspeaker sounded while a recording was made, from a sound file begun with it.

Read twice: once for where it sounds, once beside the recording. Nothing is heard here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from callout.sound.frames import Frame
from callout.sound.sound_files import stream_sound

_LEAST_PEAK = 33
"""-60 dB of full scale: less is the noise of whatever recorded it."""
_JOINS_S = 0.6
"""A shorter pause is inside what was said, through which the gate stays closed."""


@dataclass(frozen=True)
class Played:
    """The frames that sound, in order, and the spans that they make: from, to, in seconds."""

    frames: Iterator[Frame]
    spans: tuple[tuple[float, float], ...]


def read_played(path: Path) -> Played:
    """What sounded by the file at ``path``. Raises OperatorError for a file that is no sound."""
    spans: list[tuple[float, float]] = []
    for frame in _sounding(path):
        if spans and frame.start_s - spans[-1][1] < _JOINS_S:
            spans[-1] = (spans[-1][0], frame.end_s)
        else:
            spans.append((frame.start_s, frame.end_s))
    return Played(_sounding(path), tuple(spans))


def _sounding(path: Path) -> Iterator[Frame]:
    frames = stream_sound(path)
    return (frame for frame in frames if np.abs(frame.samples.astype(np.int32)).max() > _LEAST_PEAK)
