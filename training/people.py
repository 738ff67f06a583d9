"""Recorded people: the shared digits, and the number words of a telephone system's prompts.

The digits are CC BY-SA 4.0 (see shared/audio), the prompts CC BY-SA 3.0 (Debian package
asterisk-core-sounds-en-wav, voice of Allison Smith). Neither is ever copied into the project.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from training.clips import Clip, trimmed
from training.phrases import TEENS, TENS, UNITS
from training.synthesisers import RATE

SPEAKERS = ("jackson", "nicolas", "theo")
PROMPTS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
DIGITS = ("zero", *UNITS)


def recorded_digits(folder: Path) -> list[Clip]:
    """Every recording of a digit, named by its speaker; empty where the folder is absent."""
    clips = []
    for path in sorted(folder.glob("*.wav")):
        digit, speaker, _ = path.stem.split("_")
        wave = _read(path)
        clips.append(
            Clip(wave * (0.5 / (np.abs(wave).max() + 1e-9)), (DIGITS[int(digit)],), speaker)
        )
    return clips


def recorded_prompts(folder: Path = PROMPTS) -> list[Clip]:
    """Number words and a few others by one more person; empty where the package is absent."""
    files = {f"digits/{n}": (word,) for n, word in enumerate([*DIGITS, *TEENS])}
    files |= {f"digits/{n}0": (word,) for n, word in enumerate(TENS, start=2)}
    files |= {f"digits/{word}": (word,) for word in ("hundred", "thousand", "oh", "at")}
    files |= {"number": ("number",), "is": ("is",), "vm-and": ("and",), "vm-no": ("no",)}
    files |= {"sorry": ("sorry",), "letters/dot": ("dot",), "vm-repeat": ()}
    clips = []
    for name, words in files.items():
        path = folder / f"{name}.wav"
        if path.is_file() and words:
            clips.append(Clip(trimmed(_read(path)), words, "allison"))
    return clips


def _read(path: Path) -> NDArray[np.float32]:
    data, rate = soundfile.read(path, dtype="float32")
    return np.asarray(soxr.resample(data, rate, RATE), dtype=np.float32)
