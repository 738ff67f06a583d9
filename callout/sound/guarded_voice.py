"""A guarded voice: if it fails, hangs or gives no sound, that is a DeviceError and nothing worse.

Playing is in `speaker`; the station decides what to do without a voice.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np

from callout.core.errors import CalloutError, DeviceError
from callout.core.saying import saying
from callout.sound.frames import Samples
from callout.sound.voice import Voice, VoiceSettings

ALLOWED_S = 10.0
"""A sentence takes a twentieth of a second here; the first one also loads the voice's data."""

MakeVoice = Callable[[VoiceSettings], Voice]


class GuardedVoice:
    """Speaks one sentence at a time. The voice is made on first use, and again after a failure."""

    def __init__(
        self, settings: VoiceSettings, allowed_s: float = ALLOWED_S, make: MakeVoice = Voice
    ) -> None:
        self._settings, self._allowed_s, self._make = settings, allowed_s, make
        self._voice: Voice | None = None
        self._worker: threading.Thread | None = None

    def say(self, text: str) -> Samples:
        """`text` spoken, shape (n,). Raises DeviceError if the voice does not give it."""
        if self._worker is not None and self._worker.is_alive():
            raise DeviceError(saying("voice-hangs"))
        found: list[Samples | BaseException] = []
        # A hanging library cannot be stopped; its thread is abandoned.
        self._worker = threading.Thread(
            target=self._try, args=(text, found), name="callout-voice", daemon=True
        )
        self._worker.start()
        self._worker.join(self._allowed_s)
        if not found:
            raise DeviceError(saying("voice-hangs"))
        samples = found[0]
        if isinstance(samples, CalloutError):
            raise samples
        if isinstance(samples, BaseException):
            raise DeviceError(saying("voice-failed", error=repr(samples)))
        if text.strip() and not np.any(samples):
            raise DeviceError(saying("voice-silent"))
        return samples

    def _try(self, text: str, found: list[Samples | BaseException]) -> None:
        try:
            if self._voice is None:
                self._voice = self._make(self._settings)
            found.append(self._voice.say(text))
        except BaseException as error:  # whatever the error, the echo must go on
            self._voice = None
            found.append(error)
