"""A recording with what the loudspeaker played at the same time, from a second sound file.

It is read twice: once to find where it sounds, once beside the recording. The gate, and the
detector of speech over the voice, are told of it as at work, when the recording reaches it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from callout.sound.endpoint import Endpointer
from callout.sound.frames import Frame
from callout.sound.own.spoken_over import SpokenOver
from callout.sound.sound_files import stream_sound

_LEAST_PEAK = 33
"""-60 dB of full scale: less is noise of the recorder."""
_JOINS_S = 0.6
"""A shorter pause is inside an echo, and the gate stays closed through it."""


@dataclass(frozen=True)
class Played:
    """The frames with sound, in order, and the spans they form: from, to, in seconds."""

    frames: Iterator[Frame]
    spans: tuple[tuple[float, float], ...]


def read_played(path: Path) -> Played:
    """What sounded, from the file at ``path``. Raises OperatorError for a file without sound."""
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


def with_played(
    frames: Iterable[Frame], played: Played, endpointer: Endpointer, over: SpokenOver
) -> Iterator[Frame]:
    """``frames`` unchanged; before each, report what had begun to sound by its end."""
    spans, sounding = iter(played.spans), iter(played.frames)
    span, sound = next(spans, None), next(sounding, None)
    for frame in frames:
        while span is not None and span[0] < frame.end_s:
            endpointer.mute(span[1], span[0])
            span = next(spans, None)
        while sound is not None and sound.start_s < frame.end_s:
            over.plays(sound.samples, sound.start_s)
            sound = next(sounding, None)
        yield frame
