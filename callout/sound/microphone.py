"""The microphone: frames from a capture device, by way of a bounded queue.

The sound system's own thread only enqueues. Endpointing and recognition happen in whoever
iterates `frames`; no decisions about speech belong here.
"""

from __future__ import annotations

import queue
from collections.abc import Generator, Iterator
from types import TracebackType

import miniaudio
import numpy as np

from callout.core.errors import DeviceError, ProgrammerError
from callout.core.saying import saying
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples
from callout.sound.pauses import Pauses, seconds_with_sleep, slept_s
from callout.sound.pulse import SleptError, SourceChangedError
from callout.sound.sound_devices import CaptureDevice, choose, watch_source

_PERIOD_MS = 30
_LOOK_S = 0.2
_LEAST_SLEEP_S = 1.0
_POLL_S = 0.1
_LONGEST_BLOCK_S = 0.25


class Microphone:
    """A capture device, open from construction and capturing between `start` and `close`.

    Times are seconds of sound since `start`, counted in samples. Where sound is lost, since the
    reader fell more than `queue_s` behind or the device paused, the frames after carry later times,
    so the gap shows.
    """

    def __init__(
        self, device: str | None = None, queue_s: float = 20.0, stalled_after_s: float = 3.0
    ) -> None:
        """Raises DeviceError if the device named, or any microphone at all, cannot be had."""
        choice = choose("microphone", device)
        self.name = choice.name
        self._watch = watch_source(choice)
        self._settled = False
        if self._watch is not None and self._watch.watches and self._watch.changed:
            self._look_away()
            raise DeviceError(saying("microphone-gone", name=self.name))
        self._stalled_after_s = stalled_after_s
        self._blocks: queue.Queue[tuple[int, bytes]] = queue.Queue(
            maxsize=max(2, round(queue_s * 1000 / _PERIOD_MS))
        )
        self._captured = 0
        self._captured_at = seconds_with_sleep()
        self._pauses = Pauses()
        self._asked_at = 0.0
        self._slept_s = slept_s()
        self._lost = 0
        self._running = False
        self._sink = self._receive()
        next(self._sink)
        try:
            self._device = CaptureDevice(
                input_format=miniaudio.SampleFormat.SIGNED16,
                nchannels=1,
                sample_rate=SAMPLE_RATE_HZ,
                buffersize_msec=_PERIOD_MS,
                device_id=choice.device_id,
                backends=choice.backends,
                app_name="callout",
            )
        except miniaudio.MiniaudioError as error:
            self._look_away()
            raise DeviceError(
                saying("microphone-not-opened", name=choice.name, error=str(error))
            ) from None

    @property
    def captured_s(self) -> float:
        """Stream time of the last sound that came in; any new sound comes later."""
        return self._captured / SAMPLE_RATE_HZ

    @property
    def now_s(self) -> float:
        """Stream time now: how much was captured, and how long ago the last of it came.

        Based on one clock only, so it does not drift from the frames' times in a long day.
        """
        if self._captured == 0:
            return 0.0
        since_s = seconds_with_sleep() - self._captured_at
        return self.captured_s + min(since_s, _LONGEST_BLOCK_S)

    @property
    def lost_s(self) -> float:
        """Seconds of sound lost because the reader fell behind or the device paused."""
        return self._lost / SAMPLE_RATE_HZ

    def start(self) -> None:
        """Begin capturing. Raises DeviceError if the device refuses."""
        if self._running:
            raise ProgrammerError("The microphone is already capturing.")
        self._captured_at = seconds_with_sleep()
        self._running = True
        try:
            self._device.start(self._sink)
        except miniaudio.MiniaudioError as error:
            self._running = False
            raise DeviceError(
                saying("microphone-not-started", name=self.name, error=str(error))
            ) from None

    def close(self) -> None:
        """Stop capturing; `frames` ends. Safe to call twice and from another thread."""
        self._running = False
        self._device.close()
        self._look_away()

    def frames(self) -> Iterator[Frame]:
        """Frames as they come, until `close`. Starts the device if it is not started.

        Raises DeviceError when no sound comes for `stalled_after_s` (unplugged, switched off), and
        SourceChangedError where the sound now comes from elsewhere or the machine slept.
        """
        if not self._running:
            self.start()
        left, left_at = np.zeros(0, dtype=np.int16), 0
        while (block := self._next_block()) is not None:
            at, data = block
            samples: Samples = np.frombuffer(data, dtype=np.int16)
            if at != left_at + left.size:
                left, left_at = left[:0], at
            left = np.concatenate([left, samples])
            while left.size >= FRAME_SAMPLES:
                yield Frame(left[:FRAME_SAMPLES], left_at / SAMPLE_RATE_HZ)
                left, left_at = left[FRAME_SAMPLES:], left_at + FRAME_SAMPLES

    def __enter__(self) -> Microphone:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _next_block(self) -> tuple[int, bytes] | None:
        while self._running:
            self._look()
            try:
                return self._blocks.get(timeout=_POLL_S)
            except queue.Empty:
                if seconds_with_sleep() - self._captured_at > self._stalled_after_s:
                    raise DeviceError(
                        saying(
                            "microphone-stalled",
                            name=self.name,
                            seconds=f"{self._stalled_after_s:g}",
                        )
                    ) from None
        return None

    def _look(self) -> None:
        """Check at intervals whether this is still the source that was opened."""
        now_s = seconds_with_sleep()
        if slept_s() - self._slept_s > _LEAST_SLEEP_S:
            raise SleptError(saying("machine-slept"))
        watch = self._watch
        if watch is None or now_s - self._asked_at < _LOOK_S or not self._captured:
            return
        self._asked_at = now_s
        if not self._settled:
            watch.settle()
            self._settled = True
        if watch.changed:
            raise SourceChangedError(saying("microphone-other", name=self.name))

    def _look_away(self) -> None:
        watch, self._watch = self._watch, None
        if watch is not None:
            watch.close()

    def _receive(self) -> Generator[None, bytes, None]:
        """Runs in the sound system's thread: count, enqueue, never wait."""
        while True:
            data = bytes((yield))
            now_s = seconds_with_sleep()
            missing = self._pauses.take(now_s, len(data) // 2)
            self._lost += missing
            at = self._captured + missing
            self._captured = at + len(data) // 2
            self._captured_at = now_s
            try:
                self._blocks.put_nowait((at, data))
            except queue.Full:
                self._lost += len(data) // 2
