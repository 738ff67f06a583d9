"""One training example: speech put together from clips, spoiled by room, wind and microphone.

Every example follows from the seed and its number alone, so any share of them can be made on any
number of processes. Nothing is encoded here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import soxr
from numpy.random import Generator
from numpy.typing import NDArray

from training import sounds
from training.clips import Clip
from training.people import DIGITS, SPEAKERS
from training.synthesisers import RATE

REJECT = "<other>"
LONGEST_S = 9.0
Wave = NDArray[np.float32]
COLOURS = ("white", "pink", "brown", "wind", "wind", "leaves", "stream", "engine", "babble")


@dataclass(frozen=True)
class Example:
    """Samples, the words in them, and which person's recordings it holds ('' for none)."""

    samples: NDArray[np.int16]
    words: tuple[str, ...]
    person: str


@dataclass
class Library:
    """Clips by what they are needed for."""

    known: frozenset[str]
    speech: list[Clip] = field(default_factory=list)
    single: dict[str, list[Clip]] = field(default_factory=lambda: defaultdict(list))
    people: dict[str, dict[str, list[Clip]]] = field(default_factory=dict)

    @classmethod
    def of(
        cls, synthetic: Sequence[Clip], recorded: Sequence[Clip], known: frozenset[str]
    ) -> Library:
        """Sort clips of synthesised voices and of people."""
        library = cls(known)
        library.speech = list(synthetic)
        for clip in synthetic:
            if len(clip.words) == 1 and clip.words[0] in known:
                library.single[clip.words[0]].append(clip)
        for clip in recorded:
            words = library.people.setdefault(clip.voice, defaultdict(list))
            words[clip.words[0]].append(clip)
        return library


def example(library: Library, seed: int, number: int) -> Example:
    """Example ``number`` of the stream that ``seed`` names."""
    rng = np.random.default_rng([seed, number])
    draw = rng.random()
    if draw < 0.42:
        wave, words, person = _synthetic(library, rng)
    elif draw < 0.92:
        wave, words, person = _by_people(library, rng)
    elif draw < 0.96:
        wave, words, person = _chatter(library, rng)
    else:
        wave, words, person = np.zeros(int(rng.uniform(0.5, 3) * RATE), np.float32), (), ""
        if rng.random() < 0.5:
            wave = _knocks(wave, rng)
    return Example(sounds.as_int16(_spoiled(wave, library, rng)), words, person)


def _synthetic(library: Library, rng: Generator) -> tuple[Wave, tuple[str, ...], str]:
    clip = library.speech[rng.integers(len(library.speech))]
    words = tuple(word if word in library.known else REJECT for word in clip.words)
    return clip.wave, words, ""


def _by_people(library: Library, rng: Generator) -> tuple[Wave, tuple[str, ...], str]:
    """A string of one person's digits, half the time with words of a synthesised voice in it."""
    person = SPEAKERS[rng.integers(len(SPEAKERS))] if rng.random() < 0.86 else "allison"
    own = library.people.get(person)
    if own is None:
        return _synthetic(library, rng)
    if person == "allison":
        choice = sorted(own) if rng.random() < 0.5 else [w for w in sorted(own) if w in DIGITS]
        words = [choice[rng.integers(len(choice))] for _ in range(rng.integers(1, 7))]
    else:
        words = [DIGITS[rng.integers(10)] for _ in range(rng.integers(1, 8))]
    if rng.random() < 0.4:
        words = _with_others(words, own, rng)
    pieces = []
    for word in words:
        source = own.get(word) or library.single.get(word)
        if not source:
            return _synthetic(library, rng)
        level = rng.uniform(0.75, 1.0)
        pieces.append(source[rng.integers(len(source))].wave * level)
    tight = rng.random() < 0.25
    return _joined(pieces, rng, -0.03, 0.06 if tight else 0.35), tuple(words), person


_LEADS = ("tree", "tag", "number", "diameter", "girth", "new", "correction", "is", "at")
_MIDDLES = ("point", "point", "diameter", "hundred", "twenty", "sixty", "is", "and", "fifteen")
_TAILS = ("inches", "centimetres", "even", "flat", "confirm", "inch", "half")


def _with_others(words: list[str], own: dict[str, list[Clip]], rng: Generator) -> list[str]:
    if rng.random() < 0.7:
        words = [_LEADS[rng.integers(len(_LEADS))], *words]
    if rng.random() < 0.6:
        at = int(rng.integers(1, len(words) + 1))
        words = [*words[:at], _MIDDLES[rng.integers(len(_MIDDLES))], *words[at:]]
    if rng.random() < 0.3:
        words = [*words, _TAILS[rng.integers(len(_TAILS))]]
    return words


def _chatter(library: Library, rng: Generator) -> tuple[Wave, tuple[str, ...], str]:
    """Speech cut mid-word, or played faster, slower or backwards: no callout."""
    clip = library.speech[rng.integers(len(library.speech))]
    wave = clip.wave[::-1] if rng.random() < 0.6 else clip.wave
    if wave is clip.wave:
        return _synthetic(library, rng)
    count = max(1, len(clip.words))
    return np.ascontiguousarray(wave), (REJECT,) * count, ""


def _joined(pieces: list[Wave], rng: Generator, least_s: float, most_s: float) -> Wave:
    """Pieces one after another, gaps of ``least_s`` (below nought: overlapping) to ``most_s``."""
    total = sum(len(piece) for piece in pieces) + int(most_s * RATE) * len(pieces)
    whole, at = np.zeros(total, np.float32), 0
    for piece in pieces:
        at = max(0, at)
        whole[at : at + len(piece)] += piece
        at += len(piece) + int(rng.uniform(least_s, most_s) * RATE)
    return whole[: max(at, len(pieces[-1]))]


def _knocks(wave: Wave, rng: Generator) -> Wave:
    for _ in range(rng.integers(1, 5)):
        length = int(rng.integers(400, 3000))
        at = rng.integers(0, max(1, len(wave) - length))
        knock = np.exp(-np.arange(length) / (length / 6)) * rng.normal(size=length)
        wave[at : at + length] += (knock[: len(wave) - at] * rng.uniform(0.1, 0.6)).astype(
            np.float32
        )
    return wave


def _spoiled(wave: Wave, library: Library, rng: Generator) -> Wave:
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
        wave = _second_talker(wave, library, rng)
    early_band = rng.random() < 0.35
    if early_band:
        wave = _telephone(wave, rng)
    if rng.random() < 0.8:
        colour = COLOURS[rng.integers(len(COLOURS))]
        wave = with_noise(wave, colour, float(rng.uniform(3, 38)), library, rng)
    elif rng.random() < 0.7:
        wave = with_noise(wave, "white", float(rng.uniform(45, 75)), library, rng)
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


def _second_talker(wave: Wave, library: Library, rng: Generator) -> Wave:
    other = library.speech[rng.integers(len(library.speech))].wave
    at = int(rng.integers(0, len(wave)))
    other = other[: len(wave) - at] * 10 ** (rng.uniform(-28, -14) / 20)
    wave = wave.copy()
    wave[at : at + len(other)] += other
    return wave


def with_noise(wave: Wave, kind: str, snr_db: float, library: Library, rng: Generator) -> Wave:
    """``wave`` with a noise ``snr_db`` below the power of its loud parts."""
    loud = wave[np.abs(wave) > 0.05 * np.abs(wave).max(initial=0.0)]
    level = float(np.sqrt(np.mean(loud**2))) if len(loud) else 0.1
    return wave + _noise(len(wave), kind, library, rng) * level * 10 ** (-snr_db / 20)


def _noise(length: int, kind: str, library: Library, rng: Generator) -> Wave:
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
            voice = library.speech[rng.integers(len(library.speech))].wave
            noise += np.resize(voice, length)[:: -1 if rng.random() < 0.5 else 1]
    return (noise / (np.sqrt(np.mean(noise**2)) + 1e-9)).astype(np.float32)
