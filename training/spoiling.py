"""What a microphone makes of an example: speed, room, band, noises, clipping, a second talker."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import soxr
from numpy.random import Generator
from numpy.typing import NDArray

from training import sounds
from training.clips import Clip
from training.synthesisers import RATE

LONGEST_S = 9.0
COLOURS = ("white", "pink", "brown", "wind", "wind", "leaves", "stream", "engine", "babble")
Wave = NDArray[np.float32]


def spoiled(wave: Wave, speech: Sequence[Clip], rng: Generator) -> Wave:
    """The treatments, each with its chance."""
    if rng.random() < 0.8:
        wave = soxr.resample(wave, RATE * rng.uniform(0.82, 1.22), RATE).astype(np.float32)
    wave = wave[: int(LONGEST_S * RATE)]
    before, after = (np.zeros(int(rng.uniform(0.08, 0.7) * RATE), np.float32) for _ in range(2))
    wave = np.concatenate([before, wave, after])
    if rng.random() < 0.3:
        wave = _in_room(wave, rng)
    if rng.random() < 0.3:
        wave = _coloured(wave, rng)
    if rng.random() < 0.1:
        wave = _second_talker(wave, speech, rng)
    early_band = rng.random() < 0.35
    if early_band:
        wave = _telephone(wave, rng)
    if rng.random() < 0.8:
        colour = COLOURS[rng.integers(len(COLOURS))]
        wave = with_noise(wave, colour, float(rng.uniform(3, 38)), speech, rng)
    elif rng.random() < 0.7:
        wave = with_noise(wave, "white", float(rng.uniform(45, 75)), speech, rng)
    if not early_band and rng.random() < 0.1:
        wave = _telephone(wave, rng)
    wave = wave / (np.abs(wave).max() + 1e-9) * 10 ** (rng.uniform(-30, -0.5) / 20)
    if rng.random() < 0.1:
        top = np.abs(wave).max() * rng.uniform(0.25, 0.8)
        wave = np.clip(wave, -top, top)
    return wave.astype(np.float32)


def _in_room(wave: Wave, rng: Generator) -> Wave:
    length = int(rng.uniform(0.05, 0.45) * RATE)
    tail = rng.normal(size=length) * np.exp(-np.arange(length) * 6.9 / length)
    tail /= np.sqrt(np.sum(tail**2))
    size = len(wave) + length
    wet = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(tail, size), size)[: len(wave)]
    return (wave + rng.uniform(0.1, 0.8) * wet).astype(np.float32)


def _coloured(wave: Wave, rng: Generator) -> Wave:
    """A microphone's response: a smooth curve of up to 9 dB either way."""
    spectrum = np.fft.rfft(wave)
    place = np.linspace(0, 1, len(spectrum))
    curve = np.interp(place, np.linspace(0, 1, 6), rng.uniform(-9, 9, 6))
    return np.fft.irfft(spectrum * 10 ** (curve / 20), len(wave)).astype(np.float32)


def _telephone(wave: Wave, rng: Generator) -> Wave:
    """Nothing above 3.4 to 4 kHz, and at times nothing below 300 Hz."""
    spectrum = np.fft.rfft(wave)
    hertz = np.fft.rfftfreq(len(wave), 1 / RATE)
    spectrum[hertz > rng.uniform(3400, 4000)] = 0
    if rng.random() < 0.4:
        spectrum[hertz < rng.uniform(80, 300)] = 0
    return np.fft.irfft(spectrum, len(wave)).astype(np.float32)


def _second_talker(wave: Wave, speech: Sequence[Clip], rng: Generator) -> Wave:
    other = speech[rng.integers(len(speech))].wave
    at = int(rng.integers(0, len(wave)))
    other = other[: len(wave) - at] * 10 ** (rng.uniform(-28, -14) / 20)
    wave = wave.copy()
    wave[at : at + len(other)] += other
    return wave


def with_noise(
    wave: Wave, kind: str, snr_db: float, speech: Sequence[Clip], rng: Generator
) -> Wave:
    """``wave`` with a noise ``snr_db`` below the power of its loud parts."""
    loud = wave[np.abs(wave) > 0.05 * np.abs(wave).max(initial=0.0)]
    level = float(np.sqrt(np.mean(loud**2))) if len(loud) else 0.1
    return wave + _noise(len(wave), kind, speech, rng) * level * 10 ** (-snr_db / 20)


def _noise(length: int, kind: str, speech: Sequence[Clip], rng: Generator) -> Wave:
    if kind in ("white", "pink", "brown", "wind"):
        return sounds.noise(length, kind, rng)
    time = np.arange(length) / RATE
    if kind == "leaves":
        noise = np.diff(sounds.noise(length + 1, "white", rng))
        noise = noise * np.interp(time, np.arange(0, 60, 0.3), rng.uniform(0.2, 1.5, 200))
    elif kind == "stream":
        noise = sounds.noise(length, "pink", rng) + 0.5 * sounds.noise(length, "white", rng)
    elif kind == "engine":
        base = rng.uniform(40, 120) * (1 + 0.02 * np.sin(2 * np.pi * rng.uniform(0.2, 2) * time))
        phase = 2 * np.pi * np.cumsum(base) / RATE
        noise = sum(np.sin(n * phase + rng.uniform(0, 6)) / n for n in range(1, 25))
        noise = noise + 0.3 * sounds.noise(length, "pink", rng)
    else:
        noise = np.zeros(length)
        for _ in range(6):
            voice = speech[rng.integers(len(speech))].wave
            noise += np.resize(voice, length)[:: -1 if rng.random() < 0.5 else 1]
    return (noise / (np.sqrt(np.mean(noise**2)) + 1e-9)).astype(np.float32)
