"""Recorded people: numbers, letters and commands, non-native speakers, and single digits.

``census`` (Americans) is free for any use, ``accents`` (non-native) for commercial and other use;
the single digits of three people are CC BY-SA 4.0, each folder of ``../shared/audio`` has its
notice. The prompts of a telephone system are CC BY-SA 3.0 (Debian package
asterisk-core-sounds-en-wav, voice of Allison Smith). No recording is ever copied into the project.
Who is judged by which head is settled here: everybody who is judged belongs to one fold.
"""

from __future__ import annotations

import csv
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from training.phrases import TEENS, TENS, UNITS
from training.synthesisers import RATE

CORPORA = ("census", "accents")
FOLDS = 5
# Three people of single digits are apart, so that two teach each head who judges the third.
SINGLE = {"jackson": 0, "nicolas": 1, "theo": 2}
PROMPTS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
NOBODY = -1
_DIGITS = ("zero", *UNITS)


@dataclass(frozen=True)
class Recording:
    """Float32 mono at 16 kHz, its words, and who says them: ``CORPUS/SPEAKER``, or one name."""

    wave: NDArray[np.float32]
    words: tuple[str, ...]
    speaker: str

    @property
    def fold(self) -> int:
        """Which head never learnt from this speaker."""
        return fold_of(self.speaker)

    @property
    def corpus(self) -> str:
        """Which set it is of."""
        return self.speaker.partition("/")[0]


def other_words(folder: Path) -> list[str]:
    """What non-native speakers say, one word at a time, for voices to say beside callouts."""
    said = {word for one in recordings(folder, "accents") for word in one.words}
    return sorted(word for word in said if word.isalpha() and len(word) > 1)


def fold_of(speaker: str) -> int:
    """0 to 4, from the name, so that more people do not move those that are there.

    NOBODY for a voice that nobody is judged by: every head may learn from it.
    """
    if "/" not in speaker:
        return SINGLE.get(speaker, NOBODY)
    return zlib.crc32(speaker.encode()) % FOLDS


def single_words(shared: Path, prompts: Path = PROMPTS) -> list[list[Recording]]:
    """Each person's recordings of single number words; those that are absent lack."""
    apart: dict[str, list[Recording]] = {}
    for path in sorted((shared / "spoken_digits").glob("*.wav")):
        digit, speaker, _ = path.stem.split("_")
        word = (_DIGITS[int(digit)],)
        apart.setdefault(speaker, []).append(Recording(_read(path), word, speaker))
    files = {f"digits/{n}": word for n, word in enumerate([*_DIGITS, *TEENS])}
    files |= {f"digits/{n}0": word for n, word in enumerate(TENS, start=2)}
    files |= {f"digits/{word}": word for word in ("hundred", "thousand", "oh", "at")}
    files |= {"number": "number", "is": "is", "vm-and": "and", "vm-no": "no", "sorry": "sorry"}
    for name, word in files.items():
        path = prompts / f"{name}.wav"
        if path.is_file():
            apart.setdefault("allison", []).append(Recording(_read(path), (word,), "allison"))
    return list(apart.values())


def recordings(folder: Path, corpus: str) -> list[Recording]:
    """Everything of one corpus in ``../shared/audio``; empty where it is absent."""
    table = folder / corpus / "words.tsv"
    if not table.is_file():
        return []
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    return [
        Recording(
            _read(folder / corpus / row["file"]),
            words_of(row["words"], corpus),
            f"{corpus}/{row['speaker']}",
        )
        for row in rows
    ]


def words_of(text: str, corpus: str) -> tuple[str, ...]:
    """The words of a recording; a letter that is spelt out has a full stop behind it."""
    words = text.lower().split()
    if corpus != "census":
        return tuple(words)
    return tuple(f"{word}." if len(word) == 1 else word for word in words)


def _read(path: Path) -> NDArray[np.float32]:
    data, rate = soundfile.read(path, dtype="float32")
    return np.asarray(soxr.resample(data, rate, RATE), dtype=np.float32)
