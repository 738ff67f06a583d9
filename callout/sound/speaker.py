"""The loudspeaker: plays samples, can be stopped, and reports when sound begins and ends.

The half-duplex gate relies on these calls. What to say is not decided here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator

import miniaudio
import numpy as np

from callout.core.errors import DeviceError
from callout.core.saying import saying
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, require_samples
from callout.sound.sound_devices import PlaybackDevice, choose

_PERIOD_MS = 30
_PERIODS = 3
# After the last sample, this much silence pushes it out of the device's buffer.
_DRAIN_SAMPLES = SAMPLE_RATE_HZ * _PERIOD_MS * (_PERIODS + 1) // 1000
_SLACK_S = 3.0

OnStart = Callable[[Samples], None]
"""Called with what is about to be played, before the first of it sounds."""
OnEnd = Callable[[], None]
"""Called once for each OnStart, when the sound has left the device or was stopped.

It may come from the speaker's own thread, and must not call the speaker.
"""


class Playback:
    """One sound being played. `wait` for it, or ask whether it is `done`."""

    def __init__(self, samples: Samples) -> None:
        self.samples = samples
        self.error: DeviceError | None = None
        self._handed = threading.Event()
        self._done = threading.Event()

    @property
    def done(self) -> bool:
        return self._done.is_set()

    def wait(self) -> None:
        """Return when it has ended. Raises DeviceError if the device stopped taking sound."""
        self._done.wait()
        if self.error is not None:
            raise self.error


class Speaker:
    """A playback device, open from construction. One sound at a time: a new one stops the old."""

    def __init__(
        self,
        device: str | None = None,
        on_start: OnStart | None = None,
        on_end: OnEnd | None = None,
    ) -> None:
        """Raises DeviceError if the named loudspeaker, or any at all, is not available."""
        choice = choose("speaker", device)
        self.name = choice.name
        self._on_start, self._on_end = on_start, on_end
        self._turn = threading.Lock()
        self._now: Playback | None = None
        self._thread: threading.Thread | None = None
        try:
            self._device = PlaybackDevice(
                output_format=miniaudio.SampleFormat.SIGNED16,
                nchannels=1,
                sample_rate=SAMPLE_RATE_HZ,
                buffersize_msec=_PERIOD_MS,
                callback_periods=_PERIODS,
                device_id=choice.device_id,
                backends=choice.backends,
                app_name="callout",
            )
        except miniaudio.MiniaudioError as error:
            raise DeviceError(
                saying("speaker-not-opened", name=choice.name, error=str(error))
            ) from None

    def play(self, samples: Samples, wait: bool = True) -> Playback:
        """Play 16 kHz int16, shape (n,). With `wait` False return at once.

        Raises DeviceError if the device will not start or (waiting) stops taking sound.
        """
        require_samples(samples)
        with self._turn:
            self._stop_now()
            playback = self._now = Playback(samples)
            if self._on_start is not None:
                self._on_start(samples)
            self._begin(playback)
            self._thread = threading.Thread(
                target=self._finish, args=(playback,), name="callout-speaker", daemon=True
            )
            self._thread.start()
        if wait:
            playback.wait()
        return playback

    def stop(self) -> None:
        """Stop what is playing, if anything, and return when it is silent."""
        with self._turn:
            self._stop_now()

    def close(self) -> None:
        """Stop and release the device."""
        self.stop()
        self._device.close()

    def _stop_now(self) -> None:
        if self._now is not None and self._thread is not None:
            self._now.samples = self._now.samples[:0]
            self._now._handed.set()
            self._thread.join()

    def _begin(self, playback: Playback) -> None:
        source = _source(playback)
        next(source)
        try:
            self._device.start(source)
        except miniaudio.MiniaudioError as error:
            self._end(playback, DeviceError(f"The speaker {self.name!r} fails ({error})."))
            playback.wait()

    def _finish(self, playback: Playback) -> None:
        lasts_s = playback.samples.size / SAMPLE_RATE_HZ
        in_time = playback._handed.wait(lasts_s + _SLACK_S)
        fault = None
        try:
            self._device.stop()
        except miniaudio.MiniaudioError as error:
            fault = DeviceError(saying("speaker-not-stopped", name=self.name, error=str(error)))
        if not in_time:
            fault = DeviceError(saying("speaker-stopped", name=self.name))
        self._end(playback, fault)

    def _end(self, playback: Playback, fault: DeviceError | None) -> None:
        playback.error = fault
        try:
            if self._on_end is not None:
                self._on_end()
        finally:
            playback._done.set()


def _source(playback: Playback) -> Generator[bytes, int, None]:
    """Runs in the sound system's thread: pass on samples, then silence, then report the end."""
    at, silent = 0, 0
    wanted = yield b""
    while True:
        piece = playback.samples[at : at + wanted]
        at += piece.size
        silent += wanted - piece.size
        if silent >= _DRAIN_SAMPLES:
            playback._handed.set()
        padding = np.zeros(wanted - piece.size, dtype=np.int16)
        wanted = yield np.concatenate([piece, padding]).tobytes()
