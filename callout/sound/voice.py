"""The tool's own sounds, as samples: spoken text by espeak-ng and short tones.

Nothing here plays a sound (that is `speaker`) or words an echo (that is the session).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
import soxr  # type: ignore[import-untyped,unused-ignore]

from callout.core.errors import OperatorError
from callout.sound.espeak import espeak
from callout.sound.frames import SAMPLE_RATE_HZ, Samples

_NUL = "\0"
_SILENT = 30


@dataclass(frozen=True, slots=True)
class VoiceSettings:
    """How the echo voice speaks. Raises OperatorError out of range."""

    name: str = "en-gb"
    """An espeak-ng voice, with a variant after "+" if wished: "en-us+f3"."""
    words_per_minute: int = 165
    volume_percent: int = 100

    def __post_init__(self) -> None:
        if not self.name or _NUL in self.name:
            raise OperatorError(f"The voice name {self.name!r} cannot be used; try 'en-gb'.")
        if not 80 <= self.words_per_minute <= 400:
            raise OperatorError(
                f"The voice rate is {self.words_per_minute} words a minute; give 80 to 400."
            )
        if not 0 <= self.volume_percent <= 200:
            raise OperatorError(f"The voice volume is {self.volume_percent} %; give 0 to 200.")


class Voice:
    """Turns text into 16 kHz int16. Safe to call from several threads; they take turns."""

    def __init__(self, settings: VoiceSettings | None = None) -> None:
        """Raises DeviceError if the library or the named voice is not available."""
        self.settings = settings or VoiceSettings()
        self._espeak = espeak()
        self.say("ready")

    def say(self, text: str) -> Samples:
        """`text` spoken, shape (n,); empty text gives no samples. Raises DeviceError."""
        spoken = text.replace(_NUL, " ").strip()
        if not spoken:
            return np.zeros(0, dtype=np.int16)
        settings = self.settings
        raw = self._espeak.say(
            spoken, settings.name, settings.words_per_minute, settings.volume_percent
        )
        floats = soxr.resample(raw / np.float32(32768.0), self._espeak.rate_hz, SAMPLE_RATE_HZ)
        samples: Samples = np.clip(np.rint(floats * 32768.0), -32768, 32767).astype(np.int16)
        return samples


def without_silence(samples: Samples) -> Samples:
    """The words alone: up to 50 ms of near silence stands before them, and nobody waits for it."""
    sounds = np.flatnonzero(np.abs(samples) > _SILENT)
    return samples[sounds[0] : sounds[-1] + 1] if sounds.size else samples


class Tone(Enum):
    """Short signals, told apart by their number and shape as well as their pitch."""

    ACCEPT = "accept"
    REFUSE = "refuse"
    ASK = "ask"
    WARN = "warn"
    TELL = "tell"
    OVER = "over"


# Hertz and seconds, one after the other: up for accept, low and long for refuse, two alike to ask,
# high and low by turns to warn, one short one for what is only to be looked at, three quick alike
# for what was said over the voice. All within what a
# headset's telephone band lets through, or (refuse, by its overtones) with enough of it there.
_NOTES: dict[Tone, tuple[tuple[float, float], ...]] = {
    Tone.ACCEPT: ((660.0, 0.04), (990.0, 0.06)),
    Tone.REFUSE: ((220.0, 0.28),),
    Tone.ASK: ((784.0, 0.07), (0.0, 0.06), (784.0, 0.07)),
    Tone.WARN: ((988.0, 0.08), (587.0, 0.08), (988.0, 0.08), (587.0, 0.08)),
    Tone.TELL: ((523.0, 0.09),),
    Tone.OVER: ((880.0, 0.05), (0.0, 0.04), (880.0, 0.05), (0.0, 0.04), (880.0, 0.05)),
}
_FADE_S = 0.008
# Of a note below the telephone band (300 to 3400 Hz): strength of the first three partials.
_LOW_HZ, _PARTIALS = 300.0, (0.5, 0.3, 0.2)


def beep(kind: Tone, volume_percent: int = 50) -> Samples:
    """The tone of that kind as 16 kHz int16, faded at both ends of each note to avoid clicks."""
    notes = [_note(hz, seconds) for hz, seconds in _NOTES[kind]]
    peak = 32767 * min(max(volume_percent, 0), 100) / 100
    return np.rint(np.concatenate(notes) * peak).astype(np.int16)


def _note(hz: float, seconds: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    time_s = np.arange(round(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    edge = np.minimum(time_s, time_s[::-1]) / _FADE_S
    partials = _PARTIALS if hz < _LOW_HZ else (1.0,)
    wave = sum(
        strength * np.sin(2 * np.pi * hz * (number + 1) * time_s)
        for number, strength in enumerate(partials)
    )
    return wave * np.clip(edge, 0.0, 1.0)
