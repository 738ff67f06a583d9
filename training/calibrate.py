"""Fits how sure the closed engine may be: ``python -m training.calibrate``.

Digits of people are heard by the heads that never learnt them, whole callouts by the head that
never learnt their voices (``training.make`` makes both), clean and spoiled. A logistic regression
turns what both listeners say into the probability of being right. The table is honest about each
speaker: the regression that judges one was fitted without that one. Put the printed weights into
``callout/speech/closed/surety.py``.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.hearing import sets
from benchmarks.hearing.judge import digits_automaton, emits_of, encode
from callout.grammar.automaton import Automaton
from callout.speech.closed.closed_engine import PROPOSED
from callout.speech.closed.decode import Decoder
from callout.speech.closed.encoder import Encoder
from callout.speech.closed.head import Head
from callout.speech.closed.second import SecondListener
from callout.speech.closed.surety import distinct, features
from training.clips import read
from training.make import ROOT, SHARED
from training.people import SPEAKERS
from training.phrases import spoken_automaton
from training.synthesisers import RATE, UNSEEN

Floats = NDArray[np.float64]
CONDITIONS: dict[str, Callable[[sets.Spoken], sets.Spoken]] = {
    "clean": lambda spoken: spoken,
    "wind 10 dB": lambda spoken: sets.noisy(spoken, "wind", 10),
    "pink 10 dB": lambda spoken: sets.noisy(spoken, "pink", 10),
    "white 10 dB": lambda spoken: sets.noisy(spoken, "white", 10),
    "distant": sets.distant,
}
# Callouts of fewer words are mostly single words, which no meaning has.
LEAST_WORDS, PULL = 3, 1.0
LIMITS = (0.85, 0.9, 0.93, 0.95)


@dataclass(frozen=True)
class Case:
    """One utterance: who, in what, was the choice right, and what the regression looks at."""

    voice: str
    condition: str
    right: bool
    features: tuple[float, ...]


def main() -> None:
    """Hear everything, fit, and print the table and the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=Path, default=ROOT / ".train" / "heads")
    parser.add_argument("--clips", type=Path, default=ROOT / ".train" / "clips")
    parser.add_argument("--digits", type=Path, default=SHARED)
    parser.add_argument("--count", type=int, default=200, help="utterances a voice and condition")
    options = parser.parse_args()
    encoder = Encoder()
    cases: list[Case] = []
    for person in SPEAKERS:
        said = sets.digit_strings(options.digits, person, options.count)
        head = Head(options.heads / f"head-{person}.npz")
        cases += _heard(encoder, head, digits_automaton(4, 4), said)
    for family in UNSEEN:
        said = list(_callouts(options.clips / f"{family}.ogg", family))[: options.count]
        cases += _heard(encoder, Head(options.heads / "head.npz"), spoken_automaton(), said)
    _tell(cases)


def _callouts(path: Path, family: str) -> Iterator[sets.Spoken]:
    automaton, quiet = spoken_automaton(), np.zeros(RATE // 2, np.float32)
    for clip in read(path) if path.is_file() else ():
        if len(clip.words) >= LEAST_WORDS and emits_of(automaton, clip.words):
            wave = np.concatenate([quiet, clip.wave, quiet])
            yield sets.Spoken(sets.as_int16(wave), clip.words, family)


def _heard(
    encoder: Encoder, head: Head, automaton: Automaton, said: list[sets.Spoken]
) -> Iterator[Case]:
    listener, decoder = SecondListener(encoder), Decoder(automaton, head.index)
    for condition, treat in CONDITIONS.items():
        for one in map(treat, said):
            frames = encode(encoder, one.samples)
            found = distinct(decoder.meanings(head.log_probs(frames), PROPOSED))
            weighed = listener.weigh(frames, found)
            if not weighed:
                continue
            best = max(weighed, key=lambda item: item.head + item.decoder)
            right = best.meant.emits in emits_of(automaton, one.words)
            yield Case(one.voice, condition, right, features(weighed, best))
        print(f"{said[0].voice if said else '-'}: {condition}", flush=True)


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
    seen = np.array([case.features for case in cases])
    right = np.array([case.right for case in cases], dtype=np.float64)
    voices = np.array([case.voice for case in cases])
    told = np.zeros(len(cases))
    for voice in set(voices):
        weights = fitted(seen[voices != voice], right[voices != voice])
        mine = voices == voice
        told[mine] = 1 / (1 + np.exp(-(seen[mine] @ weights[:-1] + weights[-1])))
    print("| told | utterances | mean told | right |\n|---|---|---|---|")
    for low, high in ((0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 1.01)):
        here = (told >= low) & (told < high)
        if here.any():
            print(
                f"| {low} to {min(high, 1)} | {here.sum()} | {told[here].mean():.3f} "
                f"| {right[here].mean():.3f} |"
            )
    for limit in LIMITS:
        print(f"accepted from {limit} on: of all, and wrong of all")
        for voice in dict.fromkeys(voices):
            for condition in CONDITIONS:
                rows = [
                    at
                    for at, case in enumerate(cases)
                    if case.voice == voice and case.condition == condition
                ]
                taken = [at for at in rows if told[at] > limit]
                wrong = sum(right[at] == 0 for at in taken)
                print(
                    f"  {voice}, {condition}: {100 * len(taken) / max(1, len(rows)):.1f} %, "
                    f"{wrong} of {len(rows)}"
                )
    print("weights, constant last:", np.round(fitted(seen, right), 4).tolist())


if __name__ == "__main__":
    main()
