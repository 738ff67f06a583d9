"""How much tuning helps a person: ``python -m benchmarks.hearing.tuned``.

Digits of one person, by a head trained without that person: 20 strings of four digits made of takes
0 to 24 tune it, and strings made of takes 25 to 49 are heard before and after, clean and in wind at
10 dB: by the head alone, and by the whole engine, with how many of those accepted were wrong.
Callouts by a voice that takes no part (flite), heard by the engine, show what was unlearnt.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
import soxr

from benchmarks.hearing import sets
from benchmarks.hearing.natural import fold_of
from callout.grammar.automaton import Automaton
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.head import Head
from callout.speech.closed.mel import dull
from callout.station.data import load_language
from callout.tuning.tuning import Figures, Take
from callout.tuning.tuning_work import Tuning

ROOT = Path(__file__).parents[2]
LEARNT, HEARD = range(25), range(25, 50)
OTHERS = (
    "tree eleven diameter forty two point five",
    "tree one hundred and twelve diameter fifteen",
    "tag three sixteen girth seventy point one",
    "number fourteen ninety two",
    "tree twelve alive",
    "tree twenty diameter thirteen point two",
    "tree fifty dead and down",
    "yes accept",
    "tree double three missing",
    "skip tree",
    "tree eighteen not found",
    "say again",
    "undo",
    "tree sixty seven cut",
    "repeat that",
    "stem two diameter ten and a half",
    "save",
    "confirm",
    "measured at one point three metres",
    "tree forty tag lost new tag seventeen",
    "no",
    "wrong",
    "what is left",
    "where was i",
    "plot complete",
    "take a note",
    "scratch that",
    "accept",
    "tag oh nine diameter nine point one",
    "tree ninety nine diameter eighty point eight inches",
    "tree five hundred and five diameter sixty one",
    "new tree two oh five",
    "skip it",
    "correction nineteen point four",
    "make that seventeen point three",
    "i am standing",
    "tree eighty eight diameter eleven point nine",
    "tree seventy one diameter twelve flat",
    "tree thirty three sixteen and a quarter",
    "girth one hundred and forty centimetres",
)


def main() -> None:
    """Print one line for each person and seed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument(
        "--digits", type=Path, default=ROOT.parent / "shared" / "audio" / "spoken_digits"
    )
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--people", nargs="*", default=list(sets.SPEAKERS))
    options = parser.parse_args()
    print(
        "| left out | seed | | clean: head | engine | wrong | wind 10 dB: head | engine | wrong "
        "| others' words | s |"
    )
    print("|" + "---|" * 11)
    for person in options.people:
        bench = Bench(
            options.digits, options.heads / f"head-{fold_of(person)}.npz", person, options.count
        )
        print(bench.row(Head(bench.base), "", "before", 0.0), flush=True)
        for seed in range(1, options.seeds + 1):
            head, refused, spent = bench.tuned(seed)
            what = f"after, {refused} refused" if refused else "after"
            print(bench.row(head, str(seed), what, spent), flush=True)


class Bench:
    """One person, and the head that never heard them."""

    def __init__(self, digits: Path, base: Path, person: str, count: int) -> None:
        encoder = Encoder()
        self.base, self._digits, self._person = base, digits, person
        self._tuning = Tuning(_four_digits(), base, encoder)
        self._alone = Tuning(_four_digits(), base, encoder, second=False)
        self._whole = Tuning(load_language("en").spoken, base, encoder)
        said = by_chance(random.Random(f"{person}/77"), count)
        self._heard = strings(digits, person, HEARD, said, 77)
        self._windy = [sets.noisy(one, "wind", 10) for one in self._heard]
        self._others = _others()

    def tuned(self, seed: int) -> tuple[Head, int, float]:
        """The head tuned on twenty strings, how many were refused, and the seconds it took."""
        said = evenly(random.Random(f"{self._person}/{seed}"))
        spoken = strings(self._digits, self._person, LEARNT, said, seed)
        takes = [Take(one.samples, one.words) for one in spoken]
        refused = sum(self._tuning.fault(take) is not None for take in takes)
        began = time.perf_counter()
        parts = self._tuning.encode(takes, lambda *_: None, seed)
        rehearsal = self._tuning.rehearsal(lambda *_: None)
        weights = self._tuning.learn(parts, rehearsal)
        spent = time.perf_counter() - began
        return self._tuning.head_of(weights, self._person), refused, spent

    def row(self, head: Head, seed: str, what: str, spent: float) -> str:
        """One line of the table."""
        told = []
        for spoken in (self._heard, self._windy):
            alone, both = _figures(self._alone, head, spoken), _figures(self._tuning, head, spoken)
            taken = both.wrong + both.accepted
            told += [
                f"{100 * alone.right / alone.heard:.1f} %",
                f"{100 * both.right / both.heard:.1f} %",
                f"{both.wrong} of {taken}",
            ]
        rest = _figures(self._whole, head, self._others)
        cells = [self._person, seed, what, *told, f"{rest.right} of {rest.heard}", f"{spent:.0f}"]
        return f"| {' | '.join(cells)} |"


def by_chance(rng: random.Random, count: int) -> list[list[int]]:
    """Strings of four digits."""
    return [[rng.randrange(10) for _ in range(4)] for _ in range(count)]


def evenly(rng: random.Random) -> list[list[int]]:
    """Twenty strings of four in which every digit comes eight times, as prompts are chosen."""
    digits = [digit for digit in range(10) for _ in range(8)]
    rng.shuffle(digits)
    return [digits[at : at + 4] for at in range(0, 80, 4)]


def strings(
    folder: Path, person: str, takes: Sequence[int], said: Sequence[Sequence[int]], seed: int
) -> list[sets.Spoken]:
    """``said`` out of some of a person's takes, each used once before any comes again."""
    rng, noise = random.Random(f"{seed}/{person}"), np.random.default_rng(seed)
    left: dict[int, list[int]] = {}
    found = []
    for digits in said:
        parts = [np.zeros(int(0.5 * sets.RATE), np.float32)]
        for at, digit in enumerate(digits):
            if not left.get(digit):
                left[digit] = rng.sample(takes, len(takes))
            path = folder / f"{digit}_{person}_{left[digit].pop()}.wav"
            clip, rate = soundfile.read(path, dtype="float32")
            clip = np.asarray(soxr.resample(clip, rate, sets.RATE), dtype=np.float32)
            gap = 0.4 if at == 3 else rng.uniform(0.10, 0.25)
            parts += [clip * (0.5 / (np.abs(clip).max() + 1e-9)), np.zeros(int(gap * sets.RATE))]
        wave = np.concatenate(parts)
        wave = wave + noise.normal(size=len(wave)) * 0.5 * 10 ** (-70 / 20)
        words = tuple(sets.DIGITS[digit] for digit in digits)
        found.append(sets.Spoken(sets.as_int16(wave.astype(np.float32)), words, person))
    return found


def _others(voice: str = "rms") -> list[sets.Spoken]:
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for text in OTHERS:
            path = Path(folder) / "said.wav"
            subprocess.run(["flite", "-voice", voice, "-t", text, "-o", path], check=True)
            wave, rate = soundfile.read(path, dtype="float32")
            wave = np.asarray(soxr.resample(wave, rate, sets.RATE), dtype=np.float32) * 0.6
            wave = np.pad(wave, (4800, 6400))
            found.append(sets.Spoken(sets.as_int16(wave), tuple(text.split()), voice))
    return found


def _four_digits() -> Automaton:
    names = [("zero", "oh"), *((name,) for name in sets.DIGITS[1:])]
    ways = tuple(
        tuple(
            (
                word,
                (("@tag",) if at == 0 else ()) + (str(digit),) + (("@kind:tree",) * (at == 3)),
                at + 1,
            )
            for digit, words in enumerate(names)
            for word in words
        )
        for at in range(4)
    )
    return Automaton(0, frozenset([4]), (*ways, ()))


def _figures(tuning: Tuning, head: Head, spoken: Sequence[sets.Spoken]) -> Figures:
    return Figures.of(
        [
            tuning.judge(head, tuning.frames(one.samples), one.words, dull(one.samples))
            for one in spoken
        ]
    )


if __name__ == "__main__":
    main()
