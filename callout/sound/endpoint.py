"""Finds where each utterance begins and ends: frames in, utterances out.

Pure: no clock, thread or device; the time is the frames' own. Only whole utterances come out of
`push`. Speech that was heard in part (under an echo, over a gap, past the longest allowed) is set
aside as `Discarded` instead, because half a number is a wrong number.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum

import numpy as np
import webrtcvad

from callout.sound.endpoint_settings import EndpointSettings
from callout.sound.frames import FRAME_S, SAMPLE_RATE_HZ, Frame, Utterance
from callout.sound.noise import NoiseFloor

_KEEP_DISCARDED = 16
# Speech already under way in the first 60 ms after a gap or an echo began inside it.
_LATE_FRAMES = 2


class Reason(Enum):
    """Why a stretch of sound was set aside."""

    TOO_SHORT = "too short"
    TOO_LONG = "too long"
    ECHO = "spoken over the echo"
    GAP = "sound was lost"


@dataclass(frozen=True, slots=True, eq=False)
class Discarded:
    """Sound that must not be read as a value, and why."""

    utterance: Utterance
    reason: Reason


class Endpointer:
    """Cuts a stream of frames into utterances. Feed `push` from one thread only.

    `mute` and `unmute` may be called from another thread: each replaces one attribute.
    """

    def __init__(self, settings: EndpointSettings | None = None) -> None:
        self.settings = settings or EndpointSettings()
        self._vad = webrtcvad.Vad(self.settings.vad_mode)
        self._noise = NoiseFloor(self.settings)
        self._discarded: deque[Discarded] = deque(maxlen=_KEEP_DISCARDED)
        self._muted: tuple[tuple[float, float], ...] = ()
        self._ring: deque[Frame] = deque(
            maxlen=self.settings.pre_roll_frames + self.settings.onset_window_frames
        )
        self._recent: deque[bool] = deque(maxlen=self.settings.onset_window_frames)
        self._held: list[Frame] = []
        self._voiced = 0
        self._silent_run = 0
        self._doomed: Reason | None = None
        self._broken_by: Reason | None = None
        self._since_break = 0
        self._now_s: float | None = None
        self.voiced = False
        """Whether the last frame was taken for speech, muted or not."""

    @property
    def begun_under_echo(self) -> bool:
        """True during an utterance that will be discarded because it began in an echo."""
        return bool(self._held) and self._doomed is Reason.ECHO

    @property
    def speaking(self) -> bool:
        """True while an utterance is under way, its hang-over included."""
        return bool(self._held)

    @property
    def noise_floor_dbfs(self) -> float:
        return self._noise.floor_dbfs

    def push(self, frame: Frame) -> list[Utterance]:
        """Take one frame; return the utterance it completed, if any."""
        voiced = self._is_voiced(frame)
        lost = self._now_s is not None and abs(frame.start_s - self._now_s) > FRAME_S / 2
        self._now_s = frame.end_s
        if lost:
            self._break(Reason.GAP)
        if self.muted(frame):
            self._break(Reason.ECHO)
            return []
        self._noise.hear(frame.level_dbfs)
        self._since_break += 1
        if not self._held:
            self._wait(frame, voiced)
            return []
        return self._go_on(frame, voiced)

    def pass_over(self, frame: Frame) -> None:
        """Update the noise estimate from a frame that must not be heard; nothing of it is kept."""
        self._is_voiced(frame)
        self._noise.hear(frame.level_dbfs)

    def so_far(self) -> Utterance | None:
        """What is under way, at the one frame with which its pause has reached ``whole_after_s``.

        None at every other frame, of what is too short yet, and of what will be set aside.
        """
        if (
            self._silent_run != self.settings.whole_after_frames
            or not self._held
            or self._doomed is not None
            or self._voiced < self.settings.shortest_frames
        ):
            return None
        return _joined(self._held)

    def end(self) -> None:
        """What was given so far was whole, and is over: no longer pause is waited for."""
        self._end()

    def flush(self) -> list[Utterance]:
        """End of the stream: return the current utterance as if a pause had followed.

        For a file that ends in speech the caller decides whether the end can be trusted.
        """
        ended = self._end() if self._held else []
        self._ring.clear()
        self._recent.clear()
        self._now_s = None
        return ended

    def mute(self, until_s: float, from_s: float | None = None) -> None:
        """Keep frames between the two stream times, and the tail after, out of any utterance.

        `from_s` is the last frame's end if not given. An utterance under way at that time is
        dropped (Reason.ECHO), and so is speech already under way when the tail ends.
        """
        start_s = from_s if from_s is not None else (self._now_s or 0.0)
        now_s = self._now_s or 0.0
        still = tuple(span for span in self._muted if span[1] > now_s)
        self._muted = (*still, (start_s, until_s + self.settings.echo_tail_s))

    def unmute(self, at_s: float) -> None:
        """The echo ended at `at_s`, earlier or later than predicted: the tail runs from there."""
        end_s = at_s + self.settings.echo_tail_s
        if self._muted:
            start_s = min(start for start, _ in self._muted)
            self._muted = ((start_s, end_s),)

    def muted(self, frame: Frame) -> bool:
        """Whether this frame is muted because the echo may be heard in it."""
        return any(frame.end_s > start and frame.start_s < end for start, end in self._muted)

    def take_discarded(self) -> list[Discarded]:
        """What was set aside since the last call, oldest first; at most the last 16."""
        taken = list(self._discarded)
        self._discarded.clear()
        return taken

    def _is_voiced(self, frame: Frame) -> bool:
        # Always ask the detector: it tracks the noise itself and must hear every frame.
        speech = self._vad.is_speech(frame.samples.tobytes(), SAMPLE_RATE_HZ)
        self.voiced = bool(speech) and frame.level_dbfs > self._noise.gate_dbfs
        return self.voiced

    def _break(self, reason: Reason) -> None:
        """The stream is not continuous here: nothing may be joined across this point."""
        if self._held:
            short = self._voiced < self.settings.shortest_frames
            self._set_aside(self._doomed or (Reason.TOO_SHORT if short else reason))
        self._ring.clear()
        self._recent.clear()
        self._broken_by = reason
        self._since_break = 0

    def _wait(self, frame: Frame, voiced: bool) -> None:
        self._ring.append(frame)
        self._recent.append(voiced)
        if sum(self._recent) < self.settings.onset_voiced_frames:
            return
        first_voiced = len(self._ring) - len(self._recent) + list(self._recent).index(True)
        keep_from = max(0, first_voiced - self.settings.pre_roll_frames)
        late = self._since_break <= len(self._ring) and first_voiced < _LATE_FRAMES
        self._doomed = self._broken_by if late else None
        self._held = list(self._ring)[keep_from:]
        self._voiced = sum(self._recent)
        self._silent_run = 0
        self._ring.clear()
        self._recent.clear()

    def _go_on(self, frame: Frame, voiced: bool) -> list[Utterance]:
        if len(self._held) < self.settings.longest_frames:
            self._held.append(frame)
        else:
            # Too long: keep listening for the pause, or the rest would pass for a new callout.
            self._doomed = self._doomed or Reason.TOO_LONG
        self._voiced += voiced
        self._silent_run = 0 if voiced else self._silent_run + 1
        return self._end() if self._silent_run >= self.settings.hang_over_frames else []

    def _end(self) -> list[Utterance]:
        held, reason = self._held, self._doomed
        if reason is None and self._voiced < self.settings.shortest_frames:
            reason = Reason.TOO_SHORT
        if reason is not Reason.TOO_LONG:
            # The pause just heard is also the next utterance's pre-roll.
            pause = min(self._silent_run, self.settings.pre_roll_frames)
            self._ring.extend(held[len(held) - pause :])
        if reason is not None:
            self._set_aside(reason)
            return []
        self._held = []
        return [_joined(held)]

    def _set_aside(self, reason: Reason) -> None:
        self._discarded.append(Discarded(_joined(self._held), reason))
        self._held = []
        self._doomed = None


def _joined(frames: list[Frame]) -> Utterance:
    samples = np.concatenate([frame.samples for frame in frames])
    return Utterance(samples, frames[0].start_s, frames[-1].end_s)
