"""A loudspeaker in a room, as a microphone beside it takes it: simulated, all figures invented.

Played sound comes back band-limited, with the resonances of a small case, bent by overload half of
the time, with the room's echoes, 20 to 350 ms later. Noise is white, pink or wind in gusts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from callout.sound.endpoint import Endpointer
from callout.sound.frames import SAMPLE_RATE_HZ, Samples, frames_of
from callout.sound.own.spoken_over import SpokenOver

Sound = NDArray[np.float64]
SAID = (
    "7, 27.9. Confirm?",
    "Tree 83, 24 point 6. Up 1 point 3 in 5 years. Confirm?",
    "A12, 30 point 4, red oak. Confirm?",
    "Saved. Next 84.",
    "Still waiting: 359, 6.8, new tree. Accept?",
    "Girth 90.0, diameter 28.6. That looks like girth. Accept?",
    "Could be 24.6, or 24.5: say it again, digit by digit.",
    "Plot K1. 12 left: 7, 8, 9, 11, 15.",
    "109 missing. Confirm?",
    "Not saved.",
)
LEAD_S, AFTER_S = 2.0, 1.5


@dataclass(frozen=True)
class Taken:
    """What the microphone took of an echo, what was played, and when that began."""

    heard: Samples
    played: Samples
    at_s: float


def taken(
    words: Samples,
    rng: np.random.Generator,
    coupling_db: float,
    speech: Sound | None = None,
    speech_db: float = -24.0,
) -> Taken:
    """One echo of ``words``; ``speech`` (its loud part at ``speech_db``) somewhere within it."""
    played = words / 32768.0 * 10.0 ** (rng.uniform(-12.0, 0.0) / 20.0)
    lead = round(LEAD_S * SAMPLE_RATE_HZ)
    size = lead + played.size + round(AFTER_S * SAMPLE_RATE_HZ)
    heard = _noise(size, str(rng.choice(["white", "pink", "wind"])), rng.uniform(-75, -45), rng)
    _add(heard, _returned(played, coupling_db, rng), lead)
    if speech is not None:
        own = speech / _loud(speech) * 10.0 ** (speech_db / 20.0)
        low = lead + SAMPLE_RATE_HZ // 10
        _add(heard, own, int(rng.integers(low, max(low + 1, lead + played.size - own.size))))
    return Taken(_whole(heard), _whole(played), LEAD_S)


def signs(item: Taken, over: SpokenOver | None = None) -> int:
    """How often it is told that somebody spoke over the echo, gate and ear as at work."""
    ears, over = Endpointer(), over or SpokenOver()
    ears.mute(item.at_s + item.played.size / SAMPLE_RATE_HZ, item.at_s)
    over.plays(item.played, item.at_s)
    found = 0
    for frame in frames_of(item.heard):
        ears.push(frame)
        told = over.take(
            frame, voiced=ears.voiced, echo=ears.muted(frame), goes_on=ears.begun_under_echo
        )
        found += told is not None
    return found + (over.finish() is not None)


def _returned(played: Sound, coupling_db: float, rng: np.random.Generator) -> Sound:
    sound = np.tanh(played * rng.uniform(1.0, 6.0)) / 3.0 if rng.random() < 0.5 else played
    ring = round(rng.uniform(0.05, 0.6) * SAMPLE_RATE_HZ)
    room = rng.standard_normal(ring) * np.exp(-6.9 * np.arange(ring) / ring)
    room *= 10.0 ** (-rng.uniform(-3.0, 15.0) / 20.0) / np.sqrt((room**2).sum())
    room[0] = 1.0
    size = played.size + ring
    hertz = np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ)
    low, high = rng.uniform(120.0, 500.0), rng.uniform(3500.0, 7500.0)
    case = 1.0 / np.sqrt((1.0 + (low / np.maximum(hertz, 1.0)) ** 4) * (1.0 + (hertz / high) ** 4))
    for _ in range(3):
        at = rng.uniform(300.0, 5000.0)
        case *= 1.0 + rng.uniform(-0.6, 1.5) / (1.0 + ((hertz - at) / (0.15 * at)) ** 2)
    back = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(room, size) * case, size)
    back *= _loud(played) / _loud(back) * 10.0 ** (coupling_db / 20.0)
    return np.concatenate([np.zeros(round(rng.uniform(0.02, 0.35) * SAMPLE_RATE_HZ)), back])


def _noise(size: int, kind: str, dbfs: float, rng: np.random.Generator) -> Sound:
    sound = rng.standard_normal(size)
    if kind != "white":
        hertz = np.maximum(np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ), 20.0)
        sound = np.fft.irfft(np.fft.rfft(sound) / hertz ** (0.5 if kind == "pink" else 1.0), size)
    if kind == "wind":
        gusts = np.arange(0, size + 8000, 8000)
        strength = 10.0 ** (rng.uniform(-12.0, 6.0, gusts.size) / 20.0)
        sound *= np.interp(np.arange(size), gusts, strength)
    found: Sound = sound / np.sqrt((sound**2).mean()) * 10.0 ** (dbfs / 20.0)
    return found


def _loud(sound: Sound) -> float:
    """The level (a share of full scale) of what is within 20 dB of the loudest."""
    loud = np.abs(sound) > 0.1 * np.abs(sound).max()
    return float(np.sqrt((sound[loud] ** 2).mean()))


def _add(track: Sound, sound: Sound, at: int) -> None:
    track[at : at + sound.size] += sound[: max(0, track.size - at)]


def _whole(sound: Sound) -> Samples:
    return np.clip(np.rint(sound * 32768.0), -32768, 32767).astype(np.int16)
