"""People who say numbers, commands and sentences as they come, each in one fold.

Out of ``census`` (Americans) and ``accents`` (non-native speakers, children and adults) of
``../shared/audio``; what a recording is for follows from its words alone. A head that learns from
people is judged by the fold it never learnt from; the shipped one has learnt from all of them.
Nothing is heard here.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr

from benchmarks.hearing.judge import digits_automaton
from benchmarks.hearing.plot import SCOPE
from benchmarks.hearing.sets import DIGITS, RATE, Spoken, as_int16, noisy
from callout.grammar.automaton import Automaton
from callout.grammar.scope import Scope
from callout.station.data import load_language
from training.people import CORPORA, FOLDS, fold_of
from training.phrases import TEENS, TENS

__all__ = ["CORPORA", "FOLDS", "fold_of"]
NUMBER_WORDS = (*DIGITS, *TEENS, *TENS, "hundred", "thousand", "and")
# How many digits the grammar lets a string have; no string's own length is told.
LENGTHS = {"digits": (3, 10), "digits, non-native": (2, 6)}
COMMANDS = ("yes", "no", "repeat")
NO_CALLOUT = ("letters and other words", "sentences, non-native")
_MOST_WORDS = 12


@dataclass(frozen=True)
class Question:
    """What an engine listens for, and where a meaning must fit."""

    automaton: Automaton
    scope: Scope


def people(shared: Path) -> dict[str, list[Spoken]]:
    """Every set by name; ``Spoken.voice`` is CORPUS/SPEAKER. Those without recordings lack."""
    found: dict[str, list[Spoken]] = {}
    for corpus in CORPORA:
        table = shared / corpus / "words.tsv"
        if not table.is_file():
            continue
        with table.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file, delimiter="\t"):
                words = tuple(row["words"].lower().split())
                samples = _read(shared / corpus / row["file"])
                one = Spoken(samples, words, f"{corpus}/{row['speaker']}")
                found.setdefault(kind_of(corpus, words), []).append(one)
    return found


def kind_of(corpus: str, words: tuple[str, ...]) -> str:
    """The set that a recording of these words belongs to."""
    native = corpus == "census"
    if {*DIGITS, "oh"}.issuperset(words) and len(words) > 1:
        return "digits" if native else "digits, non-native"
    if {*NUMBER_WORDS, "oh"}.issuperset(words):
        return "numbers"
    if len(words) == 1 and words[0] in COMMANDS:
        return words[0]
    return NO_CALLOUT[0] if native else NO_CALLOUT[1]


def question(kind: str) -> Question:
    """What is listened for where recordings of this set are heard."""
    if kind in LENGTHS:
        return Question(digits_automaton(*LENGTHS[kind]), Scope())
    if kind == "numbers":
        return Question(number_words_automaton(), Scope())
    return Question(load_language("en").spoken_in(SCOPE), SCOPE)


def conditions(kind: str) -> dict[str, Callable[[Spoken], Spoken]]:
    """What a set is heard in: as recorded, and what may be a callout in wind too."""
    as_recorded: dict[str, Callable[[Spoken], Spoken]] = {"clean": lambda spoken: spoken}
    if kind in NO_CALLOUT:
        return as_recorded
    return as_recorded | {"wind 10 dB": lambda spoken: noisy(spoken, "wind", 10)}


def number_words_automaton() -> Automaton:
    """Number words in any order, as a tag: two digits for each word, zero and oh alike."""
    ways = tuple(
        tuple(
            (word, (f"{number:02}",) if state else ("@tag", f"{number:02}"), state + 1)
            for number, names in enumerate([("zero", "oh"), *((w,) for w in NUMBER_WORDS[1:])])
            for word in names
        )
        if state < _MOST_WORDS
        else ()
        for state in range(_MOST_WORDS + 1)
    )
    return Automaton(0, frozenset(range(1, _MOST_WORDS + 1)), ways)


def _read(path: Path) -> np.ndarray:
    data, rate = soundfile.read(path, dtype="float32")
    return as_int16(np.asarray(soxr.resample(data, rate, RATE), dtype=np.float32))
