"""One training example: speech put together from clips and spoiled.

Every example follows from the seed and its number alone, so any share of them can be made on any
number of processes. Nothing is encoded here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import soxr
from numpy.random import Generator
from numpy.typing import NDArray

from training import sounds
from training.clips import Clip
from training.people import NOBODY, Recording
from training.phrases import TEENS, TENS, UNITS
from training.spoiling import spoiled
from training.synthesisers import RATE

REJECT = "<other>"
Wave = NDArray[np.float32]
NUMBERS = frozenset({"zero", "oh", "hundred", "thousand", *UNITS, *TEENS, *TENS})
_LEADS = ("tree", "tag", "number", "diameter", "girth", "new", "correction", "is", "at")
_MIDDLES = ("point", "point", "diameter", "hundred", "twenty", "sixty", "is", "and", "fifteen")
_TAILS = ("inches", "centimetres", "even", "flat", "confirm", "inch", "half")


@dataclass(frozen=True)
class Example:
    """Samples, the words in them, and the fold of the person heard, or NOBODY."""

    samples: NDArray[np.int16]
    words: tuple[str, ...]
    fold: int


@dataclass
class Library:
    """What examples are made of: synthesised clips, those of one word, and people."""

    speech: list[Clip]
    people: dict[str, list[Recording]]
    spelt: list[list[Recording]]
    """Single words cut out of what people said, each person's together."""
    spliced: list[list[Recording]]
    """Words that people said singly, each person's together."""
    single: dict[str, list[Clip]] = field(default_factory=lambda: defaultdict(list))
    by_speaker: dict[str, list[Recording]] = field(default_factory=lambda: defaultdict(list))

    @classmethod
    def of(
        cls,
        synthetic: Sequence[Clip],
        people: dict[str, list[Recording]],
        spelt: list[list[Recording]],
        spliced: list[list[Recording]],
    ) -> Library:
        """Sorted by what they are needed for."""
        library = cls(list(synthetic), people, spelt, spliced)
        for clip in synthetic:
            if len(clip.words) == 1:
                library.single[clip.words[0]].append(clip)
        for recording in (one for corpus in people.values() for one in corpus):
            library.by_speaker[recording.speaker].append(recording)
        return library


def example(library: Library, seed: int, number: int) -> Example:
    """Example ``number`` of the stream that ``seed`` names."""
    rng = np.random.default_rng([seed, number])
    draw = rng.random()
    if draw < 0.25:
        clip = library.speech[rng.integers(len(library.speech))]
        wave, words, fold = clip.wave, clip.words, NOBODY
    elif draw < 0.29:
        wave, words = _spelt_out(library, rng)
        fold = NOBODY
    elif draw < 0.53:
        wave, words, fold = _by_people(library, "census" if draw < 0.42 else "accents", rng)
    elif draw < 0.64:
        wave, words, fold = _word_by_word(library, library.spelt, rng)
    elif draw < 0.86:
        wave, words, fold = _word_by_word(library, library.spliced, rng)
    elif draw < 0.91:
        own = library.spelt if draw < 0.885 else library.spliced
        wave, words, fold = _word_by_word(library, own, rng, maimed=True)
    elif draw < 0.935:
        wave, words, fold = *_no_words(library, rng), NOBODY
    else:
        wave, words, fold = _nobody(rng), (), NOBODY
    return Example(sounds.as_int16(spoiled(wave, library.speech, rng)), words, fold)


def _word_by_word(
    library: Library, people: list[list[Recording]], rng: Generator, maimed: bool = False
) -> tuple[Wave, tuple[str, ...], int]:
    """One person's number words, at times with words of a synthesised voice among them.

    With ``maimed`` one or two have lost so much of their beginnings that they are no words.
    """
    if not people:
        return (*_spelt_out(library, rng), NOBODY)
    own = people[rng.integers(len(people))]
    chosen: list[Clip | Recording] = [own[rng.integers(len(own))] for _ in range(_count(rng))]
    if maimed:
        for at in rng.integers(len(chosen), size=rng.integers(1, 3)):
            chosen[at] = _maimed(chosen[at], rng)
    elif rng.random() < 0.5:
        chosen = _with_others(chosen, library, rng)
    return (*_one_by_one(chosen, rng), own[0].fold)


def _maimed(one: Clip | Recording, rng: Generator) -> Clip | Recording:
    """What is left of a word without its first third or half: nobody could tell which it was."""
    begin = int(rng.uniform(0.35, 0.6) * len(one.wave))
    return replace(one, wave=one.wave[begin:], words=(REJECT,))


def _with_others(
    chosen: list[Clip | Recording], library: Library, rng: Generator
) -> list[Clip | Recording]:
    def one(words: tuple[str, ...]) -> list[Clip | Recording]:
        clips = library.single.get(words[rng.integers(len(words))], [])
        return [clips[rng.integers(len(clips))]] if clips else []

    if rng.random() < 0.7:
        chosen = [*one(_LEADS), *chosen]
    if rng.random() < 0.6:
        at = int(rng.integers(1, len(chosen) + 1))
        chosen = [*chosen[:at], *one(_MIDDLES), *chosen[at:]]
    if rng.random() < 0.3:
        chosen = [*chosen, *one(_TAILS)]
    return chosen


def _no_words(library: Library, rng: Generator) -> tuple[Wave, tuple[str, ...]]:
    """Speech cut mid-word, or played faster, slower or backwards: no callout."""
    clip = library.speech[rng.integers(len(library.speech))]
    if rng.random() < 0.6:
        return clip.wave[::-1], (REJECT,)
    speed = rng.choice([rng.uniform(0.5, 0.65), rng.uniform(1.6, 2.2)])
    return soxr.resample(clip.wave, RATE * speed, RATE).astype(np.float32), (REJECT,)


def _nobody(rng: Generator) -> Wave:
    """Sound that is no speech, or none."""
    quiet = np.zeros(int(rng.uniform(0.5, 3) * RATE), np.float32)
    draw = rng.random()
    if draw < 0.25:
        return quiet
    make = sounds.cough if draw < 0.5 else sounds.rattle if draw < 0.75 else sounds.knocks
    pieces = [make(rng) * np.float32(rng.uniform(0.3, 1.0)) for _ in range(rng.integers(1, 3))]
    return _joined([quiet[: len(quiet) // 4], *pieces], rng, 0.0, 0.6)


def _spelt_out(library: Library, rng: Generator) -> tuple[Wave, tuple[str, ...]]:
    """Words of any voices said one by one."""
    words = list(library.single)
    each = [library.single[words[rng.integers(len(words))]] for _ in range(_count(rng))]
    chosen = [clips[rng.integers(len(clips))] for clips in each]
    return _one_by_one(chosen, rng)


def _one_by_one(chosen: Sequence[Clip | Recording], rng: Generator) -> tuple[Wave, tuple[str, ...]]:
    """Words with pauses, each cut tightly or less so, as one who wraps a tape says them.

    Of some of these utterances the words have lost a little of their beginnings and ends.
    """
    pieces, worn = [], rng.random() < 0.4
    for one in chosen:
        wave = one.wave * np.float32(0.5 / (np.abs(one.wave).max(initial=0.0) + 1e-9))
        loud = np.flatnonzero(np.abs(wave) > 0.5 * rng.uniform(0.01, 0.08))
        if len(loud):
            wave = wave[loud[0] : loud[-1] + 1]
        if worn:
            wave = wave[_lost(wave, rng) : len(wave) - _lost(wave, rng)]
        pieces.append(wave * np.float32(rng.uniform(0.75, 1.0)))
    tight = rng.random() < 0.25
    wave = _joined(pieces, rng, -0.03, 0.06 if tight else 0.35)
    return wave, tuple(one.words[0] for one in chosen)


def _lost(wave: Wave, rng: Generator) -> int:
    """How much of one end is cut off: at most 80 ms and a fifth of the word."""
    return int(rng.uniform(0, min(0.08 * RATE, 0.2 * len(wave))))


def _count(rng: Generator) -> int:
    return int(rng.integers(1, 8))


def _by_people(library: Library, corpus: str, rng: Generator) -> tuple[Wave, tuple[str, ...], int]:
    """A recording, at times two by the same person; numbers more often than they come."""
    own = library.people.get(corpus)
    if not own:
        return (*_spelt_out(library, rng), NOBODY)
    one = own[rng.integers(len(own))]
    for _ in range(2 if rng.random() < 0.5 else 0):
        if not NUMBERS.issuperset(one.words):
            one = own[rng.integers(len(own))]
    if rng.random() > 0.15:
        return one.wave, one.words, one.fold
    same = library.by_speaker[one.speaker]
    other = same[rng.integers(len(same))]
    wave = _joined([one.wave, other.wave], rng, 0.0, 0.3)
    return wave, one.words + other.words, one.fold


def _joined(pieces: list[Wave], rng: Generator, least_s: float, most_s: float) -> Wave:
    """Pieces one after another, gaps of ``least_s`` (below nought: overlapping) to ``most_s``."""
    total = sum(len(piece) for piece in pieces) + int(most_s * RATE) * len(pieces)
    whole, at = np.zeros(total, np.float32), 0
    for piece in pieces:
        at = max(0, at)
        whole[at : at + len(piece)] += piece
        at += len(piece) + int(rng.uniform(least_s, most_s) * RATE)
    return whole[: max(at, len(pieces[-1]))]
