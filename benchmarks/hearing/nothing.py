"""Two hours of sound that holds no callout, by kind, in parts of a minute, each from its own seed.

Coughs, tape, knocks, tones, water and birds are made from noise and sines, so they stand for the
real ones only so far. Levels are drawn for each sound. Nothing is heard here.
"""

from __future__ import annotations

import random
import tempfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

from benchmarks.hearing import chatter
from benchmarks.hearing.sets import RATE, Wave, as_int16, coloured
from benchmarks.hearing.voices import VOICES, said
from callout.sound.voice import Voice

PART_S = 60
FLOOR_DBFS = -62.0
# Minutes of each kind at share 1; "echo, muted" is the same sound as "echo", heard as at work.
MINUTES = {
    "cough": 12,
    "tape rattle": 12,
    "knocks": 10,
    "chatter": 24,
    "chatter backwards": 12,
    "tones": 10,
    "echo, muted": 8,
    "echo, not muted": 8,
    "wind": 10,
    "stream": 8,
    "birds": 10,
}
Random = np.random.Generator


@dataclass(frozen=True)
class Part:
    """A minute of one kind; ``spans`` are the seconds from and to which something sounds."""

    kind: str
    samples: NDArray[np.int16]
    spans: tuple[tuple[float, float], ...]


def part(work: Path, kind: str, number: int) -> Part:
    """Part ``number`` of a kind, out of ``work``; made and kept there the first time."""
    base = _base(kind)
    path = work / "nothing" / f"{base.replace(' ', '-')}-{number:02}.npz"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        made = make_part(base, number)
        with path.with_suffix(".part").open("wb") as file:
            np.savez_compressed(file, samples=made.samples, spans=np.array(made.spans))
        path.with_suffix(".part").rename(path)
    with np.load(path, allow_pickle=False) as data:
        samples, spans = data["samples"], data["spans"].tolist()
    if kind == "chatter backwards":
        samples, spans = samples[::-1].copy(), [(PART_S - b, PART_S - a) for a, b in spans[::-1]]
    return Part(kind, samples, tuple((float(a), float(b)) for a, b in spans))


def _base(kind: str) -> str:
    """The kind whose sound it is: backwards, or heard otherwise, it is the same."""
    return kind.removesuffix(" backwards").partition(",")[0]


def make_part(kind: str, number: int, seed: int = 31) -> Part:
    """Part ``number`` of a kind, the same each time but for the synthesisers' own whims."""
    key = zlib.crc32(f"{seed}/{kind}/{number}".encode())
    rng = np.random.default_rng(key)
    wave = coloured(PART_S * RATE, "pink", rng) * np.float32(10 ** (FLOOR_DBFS / 20))
    spans = []
    for start, sound in _laid(_SOUNDS[kind](random.Random(key), rng), rng):
        wave[start : start + len(sound)] += sound
        spans.append((start / RATE, (start + len(sound)) / RATE))
    return Part(kind, as_int16(wave), tuple(spans))


def _laid(sounds: Iterator[Wave], rng: Random) -> Iterator[tuple[int, Wave]]:
    """Sounds one after the other, 0.3 to 2.5 s apart, as many as a part holds."""
    at = int(0.5 * RATE)
    for sound in sounds:
        room = PART_S * RATE - at
        if room < RATE // 4:
            return
        sound = sound[:room]
        yield at, sound
        at += len(sound) + int(rng.uniform(0.3, 2.5) * RATE)


def _levelled(wave: Wave, rng: Random, low: float = 0.03, high: float = 0.6) -> Wave:
    peak = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return np.asarray(wave * (peak / (np.abs(wave).max(initial=0.0) + 1e-9)), dtype=np.float32)


def _band(wave: NDArray[np.float64], low: float, high: float) -> Wave:
    edges = [low / (RATE / 2), min(high, 7_600) / (RATE / 2)]
    return np.asarray(sosfilt(butter(2, edges, "band", output="sos"), wave), dtype=np.float32)


def _resonant(wave: NDArray[np.float64], hertz: float, width: float) -> NDArray[np.float64]:
    radius = np.exp(-np.pi * width / RATE)
    poles = [1.0, -2 * radius * np.cos(2 * np.pi * hertz / RATE), radius**2]
    return np.asarray(lfilter([1.0], poles, wave))


def _coughs(_: random.Random, rng: Random) -> Iterator[Wave]:
    """One to three bursts through a throat's resonances, the end half voiced."""
    while True:
        pieces = []
        for _n in range(rng.integers(1, 4)):
            length = int(rng.uniform(0.18, 0.45) * RATE)
            time = np.arange(length) / RATE
            burst = rng.normal(size=length) * np.minimum(1, time / 0.008) * np.exp(-time * 9)
            pulse = rng.uniform(90, 220) * (1 - 0.5 * time)
            voiced = np.maximum(0, np.sin(2 * np.pi * np.cumsum(pulse) / RATE)) ** 8
            burst += 1.5 * voiced * np.exp(-(((time - 0.6 * time[-1]) / (0.3 * time[-1])) ** 2))
            for hertz in (rng.uniform(450, 750), rng.uniform(1000, 1600), rng.uniform(2300, 2900)):
                burst = burst + 0.02 * _resonant(burst, hertz, 150)
            pieces += [burst, np.zeros(int(rng.uniform(0.03, 0.15) * RATE))]
        yield _levelled(np.concatenate(pieces).astype(np.float32), rng)


def _rattle(_: random.Random, rng: Random) -> Iterator[Wave]:
    """Steel band: trains of short metallic clicks, quicker or slower, with a swish under them."""
    while True:
        length = int(rng.uniform(0.4, 3.0) * RATE)
        clicks = np.zeros(length)
        rate = rng.uniform(12, 90) * np.linspace(1, rng.uniform(0.4, 2.5), length)
        hits = np.flatnonzero(rng.uniform(size=length) < rate / RATE)
        clicks[hits] = rng.uniform(0.2, 1.0, len(hits))
        metal = sum(
            _resonant(clicks, hertz, rng.uniform(60, 300)) for hertz in rng.uniform(1500, 7000, 5)
        )
        swish = _band(rng.normal(size=length), 2000, 6500) * np.sin(
            np.pi * np.arange(length) / length
        )
        metal = np.asarray(metal) / (np.abs(metal).max() + 1e-9)
        yield _levelled((metal + 0.15 * swish).astype(np.float32), rng)


def _knocks(_: random.Random, rng: Random) -> Iterator[Wave]:
    """One to five blows on wood."""
    while True:
        pieces = []
        for _n in range(rng.integers(1, 6)):
            time = np.arange(int(rng.uniform(0.12, 0.3) * RATE)) / RATE
            blow = rng.normal(size=len(time)) * np.exp(-time * 400) * 0.4
            for hertz in rng.uniform(120, 900, 4):
                blow += np.sin(2 * np.pi * hertz * time) * np.exp(-time * rng.uniform(25, 70))
            pieces += [blow, np.zeros(int(rng.uniform(0.05, 0.4) * RATE))]
        yield _levelled(np.concatenate(pieces).astype(np.float32), rng)


def _tones(_: random.Random, rng: Random) -> Iterator[Wave]:
    """A tune of plucked or sung tones, some in thirds."""
    while True:
        root, notes = rng.uniform(110, 330), []
        shape = rng.uniform(0.3, 1.2)
        for _n in range(rng.integers(3, 12)):
            time = np.arange(int(rng.uniform(0.12, 0.6) * RATE)) / RATE
            pitch = root * 2 ** (rng.choice([0, 2, 4, 5, 7, 9, 11, 12]) / 12)
            bend = 1 + 0.006 * np.sin(2 * np.pi * 5.5 * time) * rng.integers(0, 2)
            note = np.zeros(len(time))
            for harmonic in range(1, 12):
                for part in (1.0, 1.26)[: rng.integers(1, 3)]:
                    turn = np.cumsum(pitch * part * harmonic * bend) / RATE
                    note += np.sin(2 * np.pi * turn) / harmonic ** (1 / shape)
            notes.append(note * np.minimum(1, time / 0.01) * np.exp(-time * rng.uniform(0.5, 6)))
        yield _levelled(np.concatenate(notes).astype(np.float32), rng)


def _birds(_: random.Random, rng: Random) -> Iterator[Wave]:
    """Chirps: sweeps between 1.5 and 7 kHz, in phrases."""
    while True:
        pieces = []
        top, length = rng.uniform(2500, 7000), rng.uniform(0.04, 0.25)
        for _n in range(rng.integers(2, 14)):
            time = np.arange(int(length * rng.uniform(0.8, 1.2) * RATE)) / RATE
            path = np.linspace(top, top * rng.uniform(0.4, 1.1), len(time))
            path = path * (1 + 0.05 * np.sin(2 * np.pi * rng.uniform(10, 40) * time))
            chirp = np.sin(2 * np.pi * np.cumsum(path) / RATE)
            pieces += [chirp * np.hanning(len(time)), np.zeros(int(rng.uniform(0.02, 0.2) * RATE))]
        yield _levelled(np.concatenate(pieces).astype(np.float32), rng, 0.02, 0.3)


def _wind(_: random.Random, rng: Random) -> Iterator[Wave]:
    """Gusts over the microphone, 2 to 15 s long."""
    while True:
        length = int(rng.uniform(2, 15) * RATE)
        gust = coloured(length, "wind", rng) * np.hanning(length)
        yield _levelled(np.clip(gust, -2.5, 2.5).astype(np.float32), rng, 0.05, 0.9)


def _stream(_: random.Random, rng: Random) -> Iterator[Wave]:
    """Water over stones: bubbles of 300 to 3,000 Hz in a hiss, 20 s at a time."""
    while True:
        length = 20 * RATE
        water = coloured(length, "pink", rng) * 0.3
        for at in rng.integers(0, length - RATE // 4, 20 * 25):
            time = np.arange(int(rng.uniform(0.02, 0.12) * RATE)) / RATE
            tone = np.sin(2 * np.pi * rng.uniform(300, 3000) * time * (1 + 2 * time))
            water[at : at + len(time)] += tone * np.exp(-time * 40) * rng.uniform(0.2, 2)
        yield _levelled(water.astype(np.float32), rng, 0.02, 0.3)


def _chatter(draw: random.Random, rng: Random) -> Iterator[Wave]:
    """Sentences by a voice or two."""
    speaking = draw.sample(VOICES, 2)
    while True:
        yield _levelled(said(chatter.sentence(draw), draw.choice(speaking), draw), rng)


def _echo(draw: random.Random, rng: Random) -> Iterator[Wave]:
    """The tool's own voice, as its loudspeaker sounds at the microphone."""
    voice = Voice()
    with tempfile.TemporaryDirectory() as folder:
        lines = chatter.echoes(Path(folder), 40, draw)
    for line in lines:
        yield _levelled(voice.say(line).astype(np.float32), rng, 0.05, 0.4)


_SOUNDS: dict[str, Callable[[random.Random, Random], Iterator[Wave]]] = {
    "cough": _coughs,
    "tape rattle": _rattle,
    "knocks": _knocks,
    "chatter": _chatter,
    "tones": _tones,
    "echo": _echo,
    "wind": _wind,
    "stream": _stream,
    "birds": _birds,
}
