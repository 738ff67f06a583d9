"""New trees with their species, said by voices no head has learnt names from.

``python -m benchmarks.species``: thirty common names, each in a whole callout with a tag and at
times a size, under a plot whose roster has just these thirty; and fifteen names that it lacks. The
names were chosen before anything was measured, and nothing was set by them. Needs the Debian
packages of ``benchmarks.hearing.voices``; piper's and Kokoro's voices are tried where they are
installed (docs/hearing.md). Clean, and in wind at 10 dB. Prints one row a voice.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from num2words import num2words

from benchmarks.hearing.plot import SCOPE
from benchmarks.hearing.voices import said
from callout.core.meaning import Meaning
from callout.grammar.automaton import Automaton
from callout.grammar.parser import meanings_of
from callout.grammar.words import Heard
from callout.speech.closed.variants import in_noise
from callout.speech.engine import Engine, Samples
from callout.station.data import load_language
from callout.station.deciding import LEAST_CONFIDENCE, sure
from callout.station.hearing.engines import choose_engine

NAMES = (
    "shagbark hickory", "eastern white pine", "red maple", "tulip tree", "sassafras", "pawpaw",
    "Douglas fir", "ponderosa pine", "quaking aspen", "sugar maple", "American beech", "white oak",
    "northern red oak", "black cherry", "paper birch", "sweetgum", "eastern hemlock",
    "bald cypress", "black walnut", "loblolly pine", "balsam fir", "Sitka spruce",
    "western red cedar", "honey locust", "hackberry", "ironwood", "flowering dogwood", "sycamore",
    "Engelmann spruce", "Pacific madrone",
)  # fmt: skip
LACKING = (
    "wild service tree", "rowan", "katsura", "zelkova", "horse chestnut", "monkey puzzle",
    "Norway spruce", "Scots pine", "field maple", "common alder", "sweet bay", "white poplar",
    "blue beech", "swamp hickory", "mulberry",
)  # fmt: skip
VOICES = ("flite_rms", "festival_ked_diphone", "flite_slt", "piper_joe", "kokoro_jm_kumo")
_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_QUIET = np.zeros(4800, dtype=np.int16)


@dataclass(frozen=True)
class Callout:
    """What is said, its words, and whether its species is on the roster."""

    text: str
    listed: bool

    @property
    def words(self) -> list[str]:
        """Without commas, in lower case."""
        return self.text.lower().replace(",", "").split()


def callouts(voice: str) -> Iterator[Callout]:
    """A new tree with each name; tags that the plot lacks."""
    rng = random.Random(f"judge{voice}")
    for listed, names in ((True, NAMES), (False, LACKING)):
        for name in names:
            tag, sized = _tag(rng), rng.random() < 0.3
            size = _size(rng) if sized else ""
            text = f"new tree {tag}{',' if rng.random() < 0.5 else ''} {name}"
            if size:
                text += f"{',' if rng.random() < 0.5 else ''} {size}"
            yield Callout(text, listed)


def _tag(rng: random.Random) -> str:
    number = rng.choice([rng.randint(61, 99), rng.randint(141, 999), rng.randint(141, 999)])
    figures, form = str(number), rng.random()
    if form < 0.4:
        return " ".join(_DIGITS[int(figure)] for figure in figures)
    if form < 0.6 and len(figures) == 3 and figures[1] != "0":
        return f"{_DIGITS[int(figures[0])]} {_words(int(figures[1:]))}"
    words = _words(number)
    return words if rng.random() < 0.5 else words.replace(" and ", " ")


def _size(rng: random.Random) -> str:
    return f"{_words(rng.randint(3, 60))} point {_DIGITS[rng.randint(0, 9)]}"


def _words(number: int) -> str:
    return str(num2words(number)).replace("-", " ")


def sound(text: str, voice: str) -> Samples:
    """``text`` at 16 kHz. Raises ImportError if the voice is not installed."""
    rng = random.Random(text)
    if voice.startswith(("piper", "kokoro")):
        from training.synthesisers import _kokoro, _piper

        wave, _ = (_piper() if voice == "piper_joe" else _kokoro(["jm_kumo"]))(text, rng)
        loud = np.flatnonzero(np.abs(wave) > 0.02 * np.abs(wave).max())
        wave = wave[loud[0] : loud[-1] + 1]
        wave = wave * (0.5 / np.abs(wave).max())
    else:
        wave = said(text, voice, rng)
    return np.concatenate([_QUIET, (wave * 32767).astype(np.int16), _QUIET])


def outcome(engine: Engine, automaton: Automaton, one: Callout, samples: Samples) -> str:
    """``right``, ``wrong`` or ``warned``; or how it was asked about; or ``nothing``."""
    heard = next(iter(engine.hear(samples)), None)
    if heard is None:
        return "nothing"
    parsed = sure(heard, SCOPE)
    if parsed.problem is not None:
        return "unlisted" if parsed.problem.key == "species-unheard" else "asked"
    if heard.confidence < LEAST_CONFIDENCE:
        return "warned"
    return "right" if one.listed and parsed.meanings == _meant(automaton, one) else "wrong"


def _meant(automaton: Automaton, one: Callout) -> tuple[Meaning, ...]:
    return meanings_of(automaton, [Heard(word, word) for word in one.words])


def main() -> None:
    """Hear all of it and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--voices", type=lambda text: text.split(","), default=[*VOICES])
    voices = parser.parse_args().voices
    language = load_language("en", NAMES)
    engine, automaton = choose_engine("closed", language), language.spoken_in(SCOPE)
    engine.prepare(automaton)
    taken_s: list[float] = []
    print("| voice | condition | species | outcomes |\n|---|---|---|---|")
    for voice in voices:
        found: dict[tuple[str, bool], Counter[str]] = {}
        rng = np.random.default_rng(7)
        for one in callouts(voice):
            clean = sound(one.text, voice)
            for condition in ("clean", "wind 10 dB"):
                loud = clean if condition == "clean" else in_noise(clean, "wind", 10.0, rng)
                began = time.process_time()
                result = outcome(engine, automaton, one, loud)
                taken_s.append(time.process_time() - began)
                found.setdefault((condition, one.listed), Counter())[result] += 1
        for (condition, listed), count in found.items():
            told = ", ".join(f"{what} {number}" for what, number in count.most_common())
            print(f"| {voice} | {condition} | {'listed' if listed else 'lacking'} | {told} |")
    print(f"processor time: median {np.median(taken_s):.2f} s, worst {max(taken_s):.2f} s")


if __name__ == "__main__":
    main()
