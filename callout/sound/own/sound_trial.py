"""A short trial of microphone and loudspeaker: noise, how our own voice comes back, what suits it.

``figures`` and ``suits`` are pure. The devices are asked for through ``Devices``, so that others
may stand in for them. What was said is for whoever has a recogniser.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from callout.core.errors import DeviceError
from callout.sound.endpoint import Endpointer
from callout.sound.frames import (
    FRAME_SAMPLES,
    SAMPLE_RATE_HZ,
    SILENCE_DBFS,
    Samples,
    frames_of,
    level_dbfs,
)
from callout.sound.microphone import Microphone
from callout.sound.own.own_voice import OwnVoice, canceller
from callout.sound.sound_devices import list_microphones, list_speakers
from callout.sound.speaker import Speaker

LONGEST_DELAY_S = 1.0
_SURELY_BACK = 12.0
"""How far the likeness at its best delay stands above what is usual at others."""
_HEADSET_DB = -40.0


@dataclass(frozen=True)
class Taken:
    """What the microphone took, and from which sample of it on ``played`` sounded."""

    heard: Samples
    played: Samples
    at: int


@dataclass(frozen=True)
class Figures:
    """Levels in dB of full scale. ``back_db`` is what comes back against what was played, and

    ``delay_s`` how late; both None where nothing is heard of it.
    """

    noise_dbfs: float
    back_db: float | None
    delay_s: float | None


class Devices(Protocol):
    """One microphone and one loudspeaker, and the names of all."""

    def microphones(self) -> list[str]: ...
    def speakers(self) -> list[str]: ...
    def take(self, seconds: float, play: Samples | None = None) -> Taken:
        """Record for so long; ``play`` sounds from 0.5 s on. Raises DeviceError."""


class RealDevices:
    """Those of this machine, by parts of their names; empty takes the system's default."""

    def __init__(self, microphone: str, speaker: str) -> None:
        self._microphone, self._speaker = microphone or None, speaker or None

    def microphones(self) -> list[str]:
        return [one.name for one in list_microphones()]

    def speakers(self) -> list[str]:
        return [one.name for one in list_speakers()]

    def take(self, seconds: float, play: Samples | None = None) -> Taken:
        taken, at, speaker = list[Samples](), [0.0], None
        with Microphone(self._microphone) as microphone:
            try:
                for frame in microphone.frames():
                    taken.append(frame.samples)
                    if play is not None and speaker is None and frame.end_s >= 0.5:
                        speaker = Speaker(
                            self._speaker,
                            on_start=lambda _: at.__setitem__(0, microphone.captured_s),
                        )
                        speaker.play(play, wait=False)
                    if frame.end_s >= seconds:
                        break
            finally:
                if speaker is not None:
                    speaker.close()
        played = np.zeros(0, np.int16) if play is None else play
        return Taken(np.concatenate(taken), played, round(at[0] * SAMPLE_RATE_HZ))


def figures(noise: Samples, taken: Taken) -> Figures:
    """The levels of a quiet recording and of one in which ``taken.played`` sounded."""
    levels = [level_dbfs(noise[at : at + FRAME_SAMPLES]) for at in _frames(noise)]
    noise_dbfs = float(np.median(levels)) if levels else SILENCE_DBFS
    delay = _delay(taken)
    if delay is None:
        return Figures(noise_dbfs, None, None)
    heard = taken.heard[taken.at + delay : taken.at + delay + taken.played.size]
    power = 10 ** (level_dbfs(heard) / 10) - 10 ** (noise_dbfs / 10)
    back = 10 * np.log10(max(power, 1e-10)) - level_dbfs(taken.played)
    return Figures(noise_dbfs, float(back), delay / SAMPLE_RATE_HZ)


def _delay(taken: Taken) -> int | None:
    """After how many samples what was played is heard; None where it cannot be told from noise."""
    played = taken.played.astype(np.float64)
    heard = taken.heard[taken.at :].astype(np.float64)
    if not np.any(played) or heard.size < SAMPLE_RATE_HZ // 2:
        return None
    size = played.size + heard.size
    # Every pitch alike: a voice is like itself a little later, and that would blur the delay.
    both = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(played, size))
    like = np.abs(np.fft.irfft(both / (np.abs(both) + 1e-9), size))
    near = like[: round(LONGEST_DELAY_S * SAMPLE_RATE_HZ)]
    best = int(np.argmax(near))
    return best if near[best] > _SURELY_BACK * np.median(like) else None


def suits(found: Figures, first: Taken, second: Taken) -> str:
    """``headset``, ``loudspeaker`` or ``half``: what lets nothing of our own voice pass for speech.

    ``first`` and ``second`` are recordings of it, with nobody speaking.
    """
    quiet = found.back_db is None or found.back_db < _HEADSET_DB
    if quiet and not _speech(OwnVoice(), first, second):
        return "headset"
    try:
        own = OwnVoice(canceller())
    except DeviceError:
        return "half"
    return "half" if _speech(own, first, second) else "loudspeaker"


def _speech(own: OwnVoice, first: Taken, second: Taken) -> bool:
    """Whether anything passes for speech in the second, once the first was heard."""
    base_s = first.heard.size / SAMPLE_RATE_HZ + 1.0
    own.plays(first.played, first.at / SAMPLE_RATE_HZ)
    for frame in frames_of(first.heard):
        own.take(frame)
    own.plays(second.played, base_s + second.at / SAMPLE_RATE_HZ)
    ears = Endpointer()
    found = [one for frame in frames_of(second.heard, base_s) for one in ears.push(own.take(frame))]
    return bool(found or ears.flush())


def _frames(samples: Samples) -> range:
    return range(0, samples.size - FRAME_SAMPLES + 1, FRAME_SAMPLES)
