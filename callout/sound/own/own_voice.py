"""What our own voice sounds and when: for hearing on while it speaks, and taking it out again.

With a headset the microphone does not hear the loudspeaker, and frames pass as they are. With a
loudspeaker what is played is laid beside what is heard, and WebRTC's canceller takes it out.
Nothing here says what was said, or stops the voice.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from callout.core.errors import DeviceError
from callout.core.saying import saying
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples

Cancel = Callable[[Samples, Samples], Samples]
"""What was heard less what comes back of what was played; each of shape (480,)."""
_KEPT_S = 60.0
_COMES_BACK_S = 0.3
"""So long after it was played it may still sound."""


@dataclass
class _Played:
    samples: Samples
    at_s: float
    words: bool

    @property
    def end_s(self) -> float:
        return self.at_s + self.samples.size / SAMPLE_RATE_HZ


class OwnVoice:
    """``take`` every frame from one thread; ``plays`` and ``ends`` may come from another."""

    def __init__(self, cancel: Cancel | None = None) -> None:
        self._cancel = cancel
        self._played: deque[_Played] = deque()

    def plays(self, samples: Samples, at_s: float, *, words: bool = True) -> None:
        """``samples`` sound from stream time ``at_s`` on."""
        self._played.append(_Played(samples, at_s, words))

    def ends(self, at_s: float) -> None:
        """Whatever was to be played sounds no longer than to ``at_s``."""
        for item in tuple(self._played):
            if item.end_s > at_s:
                size = max(0, round((at_s - item.at_s) * SAMPLE_RATE_HZ))
                item.samples = item.samples[:size]

    def sounded(self, from_s: float, to_s: float) -> bool:
        """Whether words of ours may have been heard between these times."""
        return any(
            item.words and item.at_s < to_s and item.end_s + _COMES_BACK_S > from_s
            for item in tuple(self._played)
        )

    def sounds(self, frame: Frame) -> bool:
        """Whether words of ours are being played in this frame."""
        return self.sounded(frame.start_s + _COMES_BACK_S, frame.end_s)

    def take(self, frame: Frame) -> Frame:
        """The frame, less our own voice where that comes back."""
        while self._played and self._played[0].end_s < frame.start_s - _KEPT_S:
            self._played.popleft()
        if self._cancel is None:
            return frame
        return Frame(self._cancel(frame.samples, self._sounding(frame.start_s)), frame.start_s)

    def _sounding(self, start_s: float) -> Samples:
        """What was played in the frame from ``start_s`` on."""
        sum_of = np.zeros(FRAME_SAMPLES, dtype=np.int16)
        for item in tuple(self._played):
            at = round((start_s - item.at_s) * SAMPLE_RATE_HZ)
            piece = item.samples[max(0, at) : max(0, at + FRAME_SAMPLES)]
            low = max(0, -at)
            sum_of[low : low + piece.size] = piece[: FRAME_SAMPLES - low]
        return sum_of


def canceller() -> Cancel:
    """A canceller for one stream. Raises DeviceError where its library is not installed."""
    try:
        from pywebrtc_audio import EchoCanceller
    except ImportError:
        raise DeviceError(saying("no-canceller")) from None
    found = EchoCanceller(sample_rate=SAMPLE_RATE_HZ)

    def cancel(heard: Samples, played: Samples) -> Samples:
        return np.asarray(found.process(np.ascontiguousarray(heard), played), dtype=np.int16)

    return cancel
