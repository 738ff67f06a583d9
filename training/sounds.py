"""What the woods and the microphone do to a voice: speed, room, band, wind, noise, clipping."""

from __future__ import annotations

import numpy as np
import soxr
from numpy.random import Generator
from numpy.typing import NDArray

RATE_HZ = 16_000
Wave = NDArray[np.float32]
COLOURS = {"white": 0.0, "pink": 1.0, "brown": 2.0}


def noise(length: int, colour: str, rng: Generator) -> Wave:
    """Noise of unit power; ``wind`` is brown noise that comes in gusts."""
    slope = COLOURS.get(colour, 2.0)
    spectrum = np.fft.rfft(rng.normal(size=length))
    hertz = np.maximum(np.fft.rfftfreq(length, 1 / RATE_HZ), 20.0)
    sound = np.fft.irfft(spectrum / hertz ** (slope / 2), length)
    if colour == "wind":
        knots = rng.uniform(0.3, 1.5, max(2, length // 8000 + 2))
        sound *= np.interp(np.arange(length), np.linspace(0, length, len(knots)), knots)
    power = np.sqrt(np.mean(sound**2)) + 1e-9
    return (sound / power).astype(np.float32)


def cough(rng: Generator) -> Wave:
    """One to four bursts of breath, each shaped as a throat shapes it, voiced at its end or not."""
    pieces = []
    for _ in range(rng.integers(1, 5)):
        length = int(rng.uniform(0.1, 0.5) * RATE_HZ)
        time = np.arange(length) / RATE_HZ
        burst = rng.normal(size=length) * np.exp(-time * rng.uniform(5, 20))
        pitch = np.cumsum(rng.uniform(80, 260) * (1 - rng.uniform(0, 0.6) * time)) / RATE_HZ
        voiced = np.sign(np.sin(2 * np.pi * pitch)) * np.linspace(0, 1, length) ** rng.uniform(0, 3)
        burst += rng.uniform(0, 0.7) * voiced * np.exp(-time * rng.uniform(4, 12))
        pieces += [_shaped(burst, rng, 300, 3500, 4), np.zeros(int(rng.uniform(0, 0.2) * RATE_HZ))]
    return _even(np.concatenate(pieces))


def rattle(rng: Generator) -> Wave:
    """A steel tape drawn out or let go: clicks that ring, ever quicker or slower."""
    length = int(rng.uniform(0.3, 2.5) * RATE_HZ)
    pace = np.geomspace(rng.uniform(8, 120), rng.uniform(8, 120), length) / RATE_HZ
    clicks = (rng.uniform(size=length) < pace) * rng.uniform(0.1, 1.0, length)
    hiss = rng.normal(size=length) * rng.uniform(0, 0.05) * np.hanning(length)
    return _even(_shaped(clicks + hiss, rng, 1000, 7500, 6))


def knocks(rng: Generator) -> Wave:
    """Blows on wood, bark or a clipboard."""
    pieces = []
    for _ in range(rng.integers(1, 6)):
        time = np.arange(int(rng.uniform(0.08, 0.35) * RATE_HZ)) / RATE_HZ
        blow = rng.normal(size=len(time)) * np.exp(-time * rng.uniform(60, 500))
        pieces += [_shaped(blow, rng, 90, 1500, 4), np.zeros(int(rng.uniform(0, 0.5) * RATE_HZ))]
    return _even(np.concatenate(pieces))


def _shaped(sound: Wave, rng: Generator, low: float, high: float, count: int) -> Wave:
    """``sound`` through ``count`` resonances anywhere between two frequencies."""
    spectrum = np.fft.rfft(sound, len(sound) + 4000)
    hertz = np.fft.rfftfreq(len(sound) + 4000, 1 / RATE_HZ)
    shape = sum(
        1 / (1 + ((hertz - centre) / rng.uniform(30, 300)) ** 2)
        for centre in np.exp(rng.uniform(np.log(low), np.log(high), count))
    )
    return np.asarray(np.fft.irfft(spectrum * shape, len(sound) + 4000)[: len(sound)])


def _even(sound: Wave) -> Wave:
    return np.asarray(sound * (0.5 / (np.abs(sound).max(initial=0.0) + 1e-9)), dtype=np.float32)


def with_noise(sound: Wave, colour: str, snr_db: float, rng: Generator) -> Wave:
    """``sound`` with noise ``snr_db`` below its power where it is loud."""
    loud = sound[np.abs(sound) > 0.05 * np.abs(sound).max()] if np.any(sound) else sound
    level = np.sqrt(np.mean(loud**2)) if len(loud) else 0.1
    return sound + noise(len(sound), colour, rng) * level * 10 ** (-snr_db / 20)


def padded(sound: Wave, rng: Generator, least_s: float = 0.1, most_s: float = 0.6) -> Wave:
    """Silence before and after."""
    before, after = (np.zeros(int(rng.uniform(least_s, most_s) * RATE_HZ)) for _ in range(2))
    return np.concatenate([before, sound, after]).astype(np.float32)


def roughened(sound: Wave, rng: Generator) -> Wave:
    """One random treatment of a voice: each take of the training is another one."""
    if rng.random() < 0.7:
        speed = rng.uniform(0.87, 1.15)
        sound = soxr.resample(sound, RATE_HZ * speed, RATE_HZ)
    sound = padded(sound, rng)
    if rng.random() < 0.25:
        length = int(rng.uniform(0.05, 0.3) * RATE_HZ)
        tail = rng.normal(size=length) * np.exp(-np.arange(length) * 6 / length)
        wet = np.convolve(sound, tail / np.sqrt(np.sum(tail**2)))[: len(sound)]
        sound = sound + rng.uniform(0.1, 0.6) * wet.astype(np.float32)
    if rng.random() < 0.35:
        sound = soxr.resample(soxr.resample(sound, RATE_HZ, 8000), 8000, RATE_HZ)
    if rng.random() < 0.8:
        colour = rng.choice(["white", "pink", "brown", "wind"])
        sound = with_noise(sound, str(colour), rng.uniform(3, 40), rng)
    sound = sound / (np.abs(sound).max() + 1e-9) * rng.uniform(0.05, 0.95)
    if rng.random() < 0.1:
        sound = np.clip(sound * rng.uniform(1.5, 4), -0.95, 0.95)
    return sound.astype(np.float32)


def as_int16(sound: Wave) -> NDArray[np.int16]:
    """16-bit samples."""
    return (np.clip(sound, -1, 1) * 32767).astype(np.int16)
