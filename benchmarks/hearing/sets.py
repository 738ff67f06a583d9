"""What the hearing benchmark plays: digits of people, unseen voices, and sound without callouts.

Strings of human digits are put together as ../shared/audio/README.md describes. Nothing is heard
or judged here. Needs the shared recordings and the Debian voices; a set that cannot be made is
left out by the caller, saying so.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

RATE = 16_000
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
SPEAKERS = ("jackson", "nicolas", "theo")
Wave = NDArray[np.float32]


@dataclass(frozen=True)
class Spoken:
    """One utterance: samples, its words (none: no callout), who said it."""

    samples: NDArray[np.int16]
    words: tuple[str, ...]
    voice: str


def digit_strings(
    folder: Path, speaker: str, count: int, length: int = 4, seed: int = 11
) -> list[Spoken]:
    """Strings of one person's digits, each clip to the same peak, 0.10 to 0.25 s apart."""
    rng = random.Random(f"{seed}/{speaker}/{length}")
    noise = np.random.default_rng(seed)
    takes = {digit: _recordings(folder, digit, speaker) for digit in range(10)}
    strings = []
    for _ in range(count):
        said = [rng.randrange(10) for _ in range(length)]
        pieces = [np.zeros(int(0.5 * RATE), np.float32)]
        for at, digit in enumerate(said):
            clip = rng.choice(takes[digit])
            pieces.append(clip)
            last = at == len(said) - 1
            gap = 0.4 if last else rng.uniform(0.10, 0.25)
            pieces.append(np.zeros(int(gap * RATE), np.float32))
        wave = np.concatenate(pieces)
        wave += (noise.normal(size=len(wave)) * 0.5 * 10 ** (-70 / 20)).astype(np.float32)
        strings.append(Spoken(as_int16(wave), tuple(DIGITS[d] for d in said), speaker))
    return strings


def _recordings(folder: Path, digit: int, speaker: str) -> list[Wave]:
    clips = []
    for path in sorted(folder.glob(f"{digit}_{speaker}_*.wav")):
        data, rate = soundfile.read(path, dtype="float32")
        wave = np.asarray(soxr.resample(data, rate, RATE), dtype=np.float32)
        clips.append(wave * (0.5 / (np.abs(wave).max() + 1e-9)))
    return clips


def as_int16(wave: Wave) -> NDArray[np.int16]:
    """Full scale is 1."""
    return (np.clip(wave, -1, 1) * 32767).astype(np.int16)


def noisy(spoken: Spoken, kind: str, snr_db: float, seed: int = 3) -> Spoken:
    """``spoken`` in noise: power of its loud parts over the noise's, in decibels."""
    rng = np.random.default_rng([seed, len(spoken.samples)])
    wave = spoken.samples.astype(np.float32) / 32768
    loud = wave[np.abs(wave) > 0.05 * np.abs(wave).max()]
    level = float(np.sqrt(np.mean(loud**2))) * 10 ** (-snr_db / 20)
    mixed = wave + coloured(len(wave), kind, rng) * level
    mixed *= 0.7 / max(0.7, float(np.abs(mixed).max()))
    return Spoken(as_int16(mixed), spoken.words, spoken.voice)


def coloured(length: int, kind: str, rng: np.random.Generator) -> Wave:
    """White, pink (-3 dB an octave), brown (-6 dB), or wind: brown that comes in gusts."""
    slope = {"white": 0.0, "pink": 0.5, "brown": 1.0, "wind": 1.0}[kind]
    hertz = np.maximum(np.fft.rfftfreq(length, 1 / RATE), 20.0)
    sound = np.fft.irfft(np.fft.rfft(rng.normal(size=length)) / hertz**slope, length)
    if kind == "wind":
        knots = rng.uniform(0.2, 1.6, length // 6000 + 3)
        sound *= np.interp(np.arange(length), np.linspace(0, length, len(knots)), knots)
    return np.asarray(sound / (np.sqrt(np.mean(sound**2)) + 1e-9), dtype=np.float32)


def telephone(spoken: Spoken) -> Spoken:
    """Nothing above 4 kHz, as by a headset or a recording at 8 kHz."""
    wave = spoken.samples.astype(np.float32) / 32768
    wave = soxr.resample(soxr.resample(wave, RATE, RATE // 2), RATE // 2, RATE)
    return Spoken(as_int16(wave[: len(spoken.samples)]), spoken.words, spoken.voice)


def clipped(spoken: Spoken) -> Spoken:
    """Overdriven by 12 dB."""
    wave = np.clip(spoken.samples.astype(np.float32) / 32768 * 4, -0.9, 0.9)
    return Spoken(as_int16(wave), spoken.words, spoken.voice)


def distant(spoken: Spoken, seed: int = 5) -> Spoken:
    """20 dB down, with a room's tail of 0.3 s."""
    rng = np.random.default_rng(seed)
    length = int(0.3 * RATE)
    tail = rng.normal(size=length) * np.exp(-np.arange(length) * 6.9 / length)
    tail *= 0.5 / np.sqrt(np.sum(tail**2))
    wave = spoken.samples.astype(np.float32) / 32768
    size = len(wave) + length
    wet = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(tail, size), size)[: len(wave)]
    return Spoken(as_int16((wave + wet).astype(np.float32) * 0.1), spoken.words, spoken.voice)


def with_second_talker(spoken: Spoken, other: Spoken, below_db: float = 15.0) -> Spoken:
    """Somebody else talks at the same time, ``below_db`` quieter."""
    wave = spoken.samples.astype(np.float32) / 32768
    talk = np.resize(other.samples.astype(np.float32) / 32768, len(wave))
    ratio = np.sqrt(np.mean(wave**2) / (np.mean(talk**2) + 1e-12)) * 10 ** (-below_db / 20)
    return Spoken(as_int16(wave + talk * ratio), spoken.words, spoken.voice)
