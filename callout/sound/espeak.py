"""The espeak-ng library by ctypes, from the wheel that carries it: text in, samples out.

Only the foreign calls and their lock. Choosing when to speak, resampling and playing are in `voice`
and `speaker`. Calls after speak_lib.h of espeak-ng 1.52.
"""

from __future__ import annotations

import ctypes
import threading
from functools import cache
from pathlib import Path

import espeakng_loader
import numpy as np

from callout.core.errors import DeviceError
from callout.core.saying import saying
from callout.sound.frames import Samples

_SYNCHRONOUS = 2
_DONT_EXIT = 0x8000
_CHARS_UTF8 = 1
_IPA = 0x02
_RATE, _VOLUME = 1, 2
# The library names British English by its file only.
_ALIASES = {"en-gb": "en"}
# The library writes nothing between these two for the whole life of the process.
_LOCK = threading.Lock()
_CALLBACK = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
)


class Espeak:
    """One per process (see `espeak`): the library keeps its state in globals."""

    def __init__(self) -> None:
        data, library = espeakng_loader.get_data_path(), espeakng_loader.get_library_path()
        # Given an incomplete folder, the library prints a complaint on the screen.
        if not (Path(data) / "phontab").is_file():
            raise DeviceError(f"The voice's data is missing from {data}; install it again.")
        self._library = ctypes.CDLL(library)
        self._library.espeak_Initialize.argtypes = [
            ctypes.c_int,
            ctypes.c_int,
            ctypes.c_char_p,
            ctypes.c_int,
        ]
        self._library.espeak_Synth.argtypes = [
            ctypes.c_char_p,
            ctypes.c_size_t,
            ctypes.c_uint,
            ctypes.c_int,
            ctypes.c_uint,
            ctypes.c_uint,
            ctypes.c_void_p,
            ctypes.c_void_p,
        ]
        self._library.espeak_TextToPhonemes.argtypes = [
            ctypes.POINTER(ctypes.c_char_p),
            ctypes.c_int,
            ctypes.c_int,
        ]
        self._library.espeak_TextToPhonemes.restype = ctypes.c_char_p
        self.rate_hz: int = self._library.espeak_Initialize(
            _SYNCHRONOUS, 0, str(data).encode(), _DONT_EXIT
        )
        if self.rate_hz <= 0:
            raise DeviceError(f"The voice could not be started from {data}; install it again.")
        self._pieces: list[Samples] = []
        self._callback = _CALLBACK(self._take)
        self._library.espeak_SetSynthCallback(self._callback)

    def say(self, text: str, voice: str, words_per_minute: int, volume_percent: int) -> Samples:
        """`text` as int16 at `rate_hz`, shape (n,). Raises DeviceError for an unknown voice.

        The library keeps state from sentence to sentence: alike each time, not bit for bit.
        """
        with _LOCK:
            name = _ALIASES.get(voice.casefold(), voice)
            if self._library.espeak_SetVoiceByName(name.encode()) != 0:
                raise DeviceError(saying("voice-unknown", name=voice))
            self._library.espeak_SetParameter(_RATE, words_per_minute, 0)
            self._library.espeak_SetParameter(_VOLUME, volume_percent, 0)
            self._pieces = []
            data = text.encode()
            failed = self._library.espeak_Synth(
                data, len(data) + 1, 0, 0, 0, _CHARS_UTF8, None, None
            )
            if failed:
                raise DeviceError(saying("voice-failed", error=f"code {failed} on {text!r}"))
            return np.concatenate([np.zeros(0, dtype=np.int16), *self._pieces])

    def sounds(self, text: str, voice: str) -> str:
        """How `voice` says `text`, in the International Phonetic Alphabet. Raises DeviceError."""
        with _LOCK:
            name = _ALIASES.get(voice.casefold(), voice)
            if self._library.espeak_SetVoiceByName(name.encode()) != 0:
                raise DeviceError(saying("voice-unknown", name=voice))
            told, rest = [], ctypes.c_char_p(text.encode())
            while rest.value:
                part = self._library.espeak_TextToPhonemes(ctypes.byref(rest), _CHARS_UTF8, _IPA)
                told.append((part or b"").decode())
            return "".join(told)

    def _take(self, samples: ctypes._Pointer[ctypes.c_short], count: int, _events: int) -> int:
        if samples and count > 0:
            self._pieces.append(np.ctypeslib.as_array(samples, (count,)).copy())
        return 0


@cache
def _started() -> Espeak:
    return Espeak()


def espeak() -> Espeak:
    """The process's one voice library. Raises DeviceError if it cannot be loaded."""
    try:
        with _LOCK:
            return _started()
    except (OSError, RuntimeError, AttributeError) as error:
        raise DeviceError(f"The voice cannot be loaded: {error}") from None
