"""Sets kept between runs: each one FLAC file of all its sounds end to end, and a JSON list.

A set is made once. Nothing is made, heard or judged here.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from benchmarks.hearing.sets import RATE, Spoken


def kept(folder: Path, name: str, make: Callable[[], list[Spoken]]) -> list[Spoken]:
    """The set called ``name``, made by ``make`` where it is not kept yet."""
    path = folder / f"{name}.flac"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        _write(path, make())
    samples, _ = soundfile.read(path, dtype="int16")
    listed = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return [
        Spoken(samples[start : start + length], tuple(words.split()), voice)
        for start, length, words, voice in listed
    ]


def _write(path: Path, spoken: list[Spoken]) -> None:
    listed, start = [], 0
    for one in spoken:
        listed.append([start, len(one.samples), " ".join(one.words), one.voice])
        start += len(one.samples)
    path.with_suffix(".json").write_text(json.dumps(listed), encoding="utf-8")
    part = path.with_suffix(".part")
    joined = np.concatenate([one.samples for one in spoken])
    soundfile.write(part, joined, RATE, format="FLAC", subtype="PCM_16")
    part.rename(path)
