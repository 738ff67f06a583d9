"""Fits how sure the closed engine may be: ``python -m training.calibrate``.

People, those of spliced digits too, are heard by the heads of folds that never learnt from them,
unseen voices and noises by the whole head, which learnt from none of those (``training.make`` makes
all); clean and spoiled. Two logistic regressions, for sound with treble and without, turn what both
listeners say into the probability of being right. The table is honest about everybody: the
regression that judges a fold or a speaker was fitted without. Put the printed weights into
``callout/speech/closed/surety.py``. Where the folder of heads holds ``doubter-0.npz`` and so on,
the third listener doubts as at work.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing import natural, nothing, sets
from benchmarks.hearing.judge import digits_automaton, emits_of
from callout.grammar.automaton import Automaton
from callout.speech.closed.closed_engine import PROPOSED
from callout.speech.closed.decode import Decoder, Meant
from callout.speech.closed.doubter import DOUBTER, Doubter
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.head import Head
from callout.speech.closed.mel import dull
from callout.speech.closed.second import SecondListener
from callout.speech.closed.surety import Thresholds, distinct, features
from callout.speech.engine import Samples
from training.clips import read
from training.make import ROOT, SHARED
from training.phrases import spoken_automaton
from training.synthesisers import RATE, UNSEEN

Floats = NDArray[np.float64]
Treat = Callable[[sets.Spoken], sets.Spoken]
CONDITIONS: dict[str, Treat] = {
    "clean": lambda spoken: spoken,
    "wind 10 dB": lambda spoken: sets.noisy(spoken, "wind", 10),
    "pink 10 dB": lambda spoken: sets.noisy(spoken, "pink", 10),
    "white 10 dB": lambda spoken: sets.noisy(spoken, "white", 10),
    "distant": sets.distant,
}
TELEPHONE = {
    "telephone": sets.telephone,
    "telephone, wind 10 dB": lambda spoken: sets.telephone(sets.noisy(spoken, "wind", 10)),
}
NOISES = {"cough": 4, "tape rattle": 4, "knocks": 4, "tones": 2, "birds": 2, "wind": 2}
NOISE = "noise"
PULL, LONGEST_S, NOISE_SEED = 1.0, 20, 97
LIMITS = (
    Thresholds(),
    Thresholds(accept=0.9),
    Thresholds(accept=0.97),
    Thresholds(doubted_figures=8.0),
)


@dataclass(frozen=True)
class Heard:
    """How one utterance was heard; ``best`` and ``features`` are None where nothing was.

    ``over`` and ``doubt`` are by how much the head, with no grammar, and the third listener hear
    something likelier, in nats.
    """

    no_treble: bool
    best: Meant | None = None
    features: tuple[float, ...] | None = None
    over: float = 0.0
    doubt: float = 0.0


@dataclass(frozen=True)
class Case:
    """One utterance: of which set, in what, and who is left out with it."""

    kind: str
    condition: str
    group: str
    right: bool
    heard: Heard


def main() -> None:
    """Hear everything, fit, and print the table and the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument("--clips", type=Path, default=ROOT / ".train" / "clips")
    parser.add_argument("--shared", type=Path, default=SHARED)
    parser.add_argument("--count", type=int, help="utterances a set at most")
    options = parser.parse_args()
    ears = _Ears(options.heads)
    cases = []
    for kind, said in everything(options.shared, options.clips).items():
        listening = automaton(kind)
        decoder = Decoder(listening, ears.index)
        for condition, treat in _conditions(kind).items():
            for at, one in enumerate(said[: options.count]):
                group = _group(kind, one.voice, at)
                heard = ears.hear(treat(one).samples[: LONGEST_S * RATE], decoder, group)
                callout = kind != NOISE and kind not in natural.NO_CALLOUT
                meant = emits_of(listening, one.words) if callout else set()
                right = heard.best is not None and heard.best.emits in meant
                cases.append(Case(kind, condition, group, right, heard))
            print(f"{kind}: {condition}", flush=True)
    _tell(cases)


def everything(shared: Path, clips: Path) -> dict[str, list[sets.Spoken]]:
    """Every set by name: people, spliced digits, unseen voices, noises."""
    found = natural.people(shared)
    for person in sets.SPEAKERS:
        found[person] = sets.digit_strings(shared / "spoken_digits", person, 200)
    for family in UNSEEN:
        found[f"callouts {family}"] = list(_callouts(clips / f"{family}.ogg", family))
    found[NOISE] = list(_noises())
    return found


def automaton(kind: str) -> Automaton:
    """What is listened for where a set is heard."""
    if kind in sets.SPEAKERS:
        return digits_automaton(4, 4)
    if kind.startswith("callouts"):
        return spoken_automaton()
    return natural.question("yes" if kind == NOISE else kind).automaton


def _conditions(kind: str) -> dict[str, Treat]:
    if kind == NOISE or kind in natural.NO_CALLOUT:
        return {"clean": CONDITIONS["clean"]}
    if kind in natural.COMMANDS:
        return {**natural.conditions(kind), **TELEPHONE}
    # Spliced digits have a telephone's band as they are.
    return CONDITIONS if kind in sets.SPEAKERS else {**CONDITIONS, **TELEPHONE}


def _group(kind: str, voice: str, at: int) -> str:
    """Who is left out together: a fold of people, a speaker, a voice, a share of the noises."""
    if kind == NOISE:
        return f"{NOISE} {at % natural.FOLDS}"
    return str(natural.fold_of(voice)) if "/" in voice else voice


def _callouts(path: Path, family: str) -> Iterator[sets.Spoken]:
    spoken, quiet = spoken_automaton(), np.zeros(RATE // 2, np.float32)
    for clip in read(path) if path.is_file() else ():
        if emits_of(spoken, clip.words):
            wave = np.concatenate([quiet, clip.wave, quiet])
            yield sets.Spoken(sets.as_int16(wave), clip.words, family)


def _noises() -> Iterator[sets.Spoken]:
    for kind, minutes in NOISES.items():
        for number in range(minutes):
            made = nothing.make_part(kind, number, seed=NOISE_SEED)
            for begin_s, end_s in made.spans:
                begin, end = max(0, int((begin_s - 0.3) * RATE)), int((end_s + 0.75) * RATE)
                yield sets.Spoken(made.samples[begin:end][: 12 * RATE], (), kind)


class _Ears:
    """All three listeners; for a group of people left out those that never heard them."""

    def __init__(self, folder: Path) -> None:
        self._encoder = Encoder()
        self._second = SecondListener(self._encoder)
        numbers = [str(number) for number in range(natural.FOLDS)]
        self._whole = Head(folder / "head.npz")
        self._heads = {n: Head(folder / f"head-{n}.npz") for n in numbers}
        parts = {n: folder / f"doubter-{n}.npz" for n in numbers}
        self._doubters = {n: Doubter(path) for n, path in parts.items() if path.is_file()}
        self._doubter = Doubter(DOUBTER)
        self.index = self._whole.index

    def hear(self, samples: Samples, decoder: Decoder, group: str) -> Heard:
        """What is chosen in the sound, and what the regression looks at."""
        frames, no_treble = self._encoder.encode_apart(samples), dull(samples)
        log_probs = self._heads.get(group, self._whole).log_probs(frames)
        found = distinct(decoder.meanings(log_probs, PROPOSED))
        if not found or found[0].score < Thresholds().drop:
            return Heard(no_treble)
        weighed = self._second.weigh(frames, found)
        best = max(weighed, key=lambda item: item.head + item.decoder)
        over = float(log_probs.max(axis=1).sum()) - best.head
        # The shipped doubter learnt from people; where a fold has none of its own, none doubts.
        doubter = self._doubters.get(group) if group.isdecimal() else self._doubter
        doubt = doubter.doubt(frames, best.meant.words) if doubter else 0.0
        return Heard(no_treble, best.meant, features(weighed, best), over, doubt)


def fitted(seen: Floats, right: Floats) -> Floats:
    """Weights and constant of a logistic regression, by Newton's method, pulled a little to 0."""
    mean, spread = seen.mean(axis=0), seen.std(axis=0)
    known = np.c_[(seen - mean) / spread, np.ones(len(seen))]
    weights = np.zeros(known.shape[1])
    pull = np.r_[np.full(seen.shape[1], PULL), 0.0]
    for _ in range(60):
        told = 1 / (1 + np.exp(-known @ weights))
        slope = known.T @ (told - right) + pull * weights
        bend = (known * (told * (1 - told))[:, None]).T @ known + np.diag(pull + 1e-9)
        weights = weights - np.linalg.solve(bend, slope)
    return np.r_[weights[:-1] / spread, weights[-1] - (weights[:-1] * mean / spread).sum()]


def _tell(cases: list[Case]) -> None:
    told = np.zeros(len(cases))
    for no_treble in (False, True):
        mine = np.array(
            [c.heard.features is not None and c.heard.no_treble == no_treble for c in cases]
        )
        part = [case for case, own in zip(cases, mine, strict=True) if own]
        told[mine], weights = _judged(part)
        kind = "without treble" if no_treble else "with treble"
        print(f"{kind}: weights, constant last:", np.round(weights, 4).tolist())
        _calibration(told[mine], np.array([case.right for case in part]))
    for limits in LIMITS:
        print(f"{limits}: taken and right, wrong, of all")
        taken = [_taken(case, sure, limits) for case, sure in zip(cases, told, strict=True)]
        for kind, condition in dict.fromkeys((case.kind, case.condition) for case in cases):
            here = [
                (case.right, took)
                for case, took in zip(cases, taken, strict=True)
                if (case.kind, case.condition) == (kind, condition)
            ]
            right = sum(took and well for well, took in here)
            wrong = sum(took and not well for well, took in here)
            print(f"  {kind}, {condition}: {100 * right / len(here):.1f} %, {wrong} of {len(here)}")


def _judged(part: list[Case]) -> tuple[Floats, Floats]:
    """Each one's probability by a regression fitted without its group, and the weights of all."""
    seen = np.array([case.heard.features for case in part], dtype=np.float64)
    right = np.array([case.right for case in part], dtype=np.float64)
    groups = np.array([case.group for case in part])
    told = np.zeros(len(part))
    for group in set(groups):
        weights = fitted(seen[groups != group], right[groups != group])
        mine = groups == group
        told[mine] = 1 / (1 + np.exp(-(seen[mine] @ weights[:-1] + weights[-1])))
    return told, fitted(seen, right)


def _calibration(told: Floats, right: NDArray[np.bool_]) -> None:
    print("| told | utterances | mean told | right |\n|---|---|---|---|")
    for low, high in ((0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 1.01)):
        here = (told >= low) & (told < high)
        if here.any():
            print(
                f"| {low} to {min(high, 1)} | {here.sum()} | {told[here].mean():.3f} "
                f"| {right[here].mean():.3f} |"
            )


def _taken(case: Case, told: float, limits: Thresholds) -> bool:
    heard = case.heard
    if heard.best is None:
        return False
    strays = limits.strays(heard.best, heard.over + heard.best.score)
    sure = told >= limits.least(heard.best)
    return sure and strays <= 0 and heard.doubt <= limits.most_doubt(heard.best)


if __name__ == "__main__":
    main()
