"""Clips of clean speech with their words, kept per voice family in one compressed file.

A family is one Ogg Vorbis file of all clips end to end with a JSON list of where each lies, small
enough to travel to a machine that trains. Synthesis is seeded per clip. No augmentation here.
"""

from __future__ import annotations

import json
import random
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from training.phrases import spoken_automaton, template, utterance, vocabulary, walk, words_of
from training.synthesisers import RATE, UNSEEN, Speaker, speakers

PAD = 1600
# libsndfile maps this to about 50 kbit/s.
COMPRESSION = 0.35


@dataclass(frozen=True)
class Clip:
    """Float32 mono at 16 kHz, trimmed of silence, with who said which words."""

    wave: NDArray[np.float32]
    words: tuple[str, ...]
    voice: str


def synthesise(folder: Path, family: str, seed: int, others: Sequence[str]) -> None:
    """Make one family's clips and keep them; ``others`` are words beside the grammar's."""
    path = folder / f"{family}.ogg"
    if path.exists():
        return
    automaton = spoken_automaton()
    words = vocabulary(automaton)
    count, say = speakers()[family]

    def text(number: int, rng: random.Random) -> str:
        alone = number // 3 if number % 3 == 0 and family not in UNSEEN else len(words)
        return words[alone] if alone < len(words) else utterance(automaton, words, others, rng)

    write(path, _said(f"{seed}/{family}", count, say, text))


def synthesise_callouts(folder: Path, family: str, count: int, seed: int) -> None:
    """More of one family, callouts and every word alone, kept as ``more_FAMILY``."""
    path = folder / f"more_{family}.ogg"
    if path.exists():
        return
    automaton = spoken_automaton()
    words = vocabulary(automaton)
    _, say = speakers()[family]

    def text(number: int, rng: random.Random) -> str:
        if number % 2 == 0 and number < 2 * len(words):
            return words[number // 2]
        return walk(automaton, rng) if rng.random() < 0.45 else template(rng)

    write(path, _said(f"{seed}/more_{family}", count, say, text))


def _said(
    seed: str, count: int, say: Speaker, text: Callable[[int, random.Random], str]
) -> list[Clip]:
    """``count`` clips of what ``text`` gives; each draws from a stream of its own."""
    clips = []
    for number in range(count):
        rng = random.Random(zlib.crc32(f"{seed}/{number}".encode()))
        words = text(number, rng)
        wave, voice = say(words, rng)
        wave = trimmed(wave)
        if len(wave) > RATE // 20:
            clips.append(Clip(wave, words_of(words), voice))
    return clips


def trimmed(wave: NDArray[np.float32]) -> NDArray[np.float32]:
    """Without the silence at its ends, at a peak of 0.5."""
    peak = float(np.abs(wave).max(initial=0.0))
    loud = np.flatnonzero(np.abs(wave) > 0.02 * peak)
    if not len(loud):
        return wave[:0]
    return (wave[loud[0] : loud[-1] + 1] * (0.5 / peak)).astype(np.float32)


def write(path: Path, clips: list[Clip]) -> None:
    """Keep ``clips`` as one Vorbis file and its list."""
    pieces, listed, at = [], [], 0
    for clip in clips:
        listed.append([at, len(clip.wave), " ".join(clip.words), clip.voice])
        pieces += [clip.wave, np.zeros(PAD, np.float32)]
        at += len(clip.wave) + PAD
    part = path.with_suffix(".part")
    with soundfile.SoundFile(
        part, "w", RATE, 1, "VORBIS", format="OGG", compression_level=COMPRESSION
    ) as file:
        for piece in pieces:
            file.write(piece)
    path.with_suffix(".json").write_text(json.dumps(listed), encoding="utf-8")
    part.rename(path)


def read(path: Path) -> list[Clip]:
    """The clips that ``write`` kept."""
    wave, _ = soundfile.read(path, dtype="float32")
    listed = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return [
        Clip(wave[at : at + length], tuple(words.split()), voice)
        for at, length, words, voice in listed
    ]
