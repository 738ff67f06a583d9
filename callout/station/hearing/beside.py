"""A recording with what the loudspeaker played beside it: the gate and the ear for what was said

over the voice are told of it as they are at work, when the recording has come to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from callout.sound.endpoint import Endpointer
from callout.sound.frames import Frame
from callout.sound.played import Played
from callout.sound.spoken_over import SpokenOver


def with_played(
    frames: Iterable[Frame], played: Played, endpointer: Endpointer, over: SpokenOver
) -> Iterator[Frame]:
    """``frames`` as they are; before each, what had begun to sound by its end is told."""
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
