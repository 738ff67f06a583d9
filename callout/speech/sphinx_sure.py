"""The confidence of PocketSphinx in a callout: its words' scores against those of free phones.

Pure. The weights are a logistic regression on 395 utterances that `benchmarks/hearing` does not
use: strings of digits by three people, callouts and commands of ten synthetic voices, in quiet,
wind and pink noise, and sound without callouts, the four kinds weighted equally.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from callout.speech.odds import logistic

FRAMES_A_SECOND = 100
# Words longer than this on average are noise, not speech.
DRAWN_OUT_FRAMES = 60
_WORST_COUNTED, _SHORTEST_COUNTED = 100.0, 30


@dataclass(frozen=True)
class Segment:
    """A word or phone from frame ``start`` to ``end`` inclusive, and its sound's score."""

    word: str
    start: int
    end: int
    score: float

    @property
    def frames(self) -> int:
        """At least 1."""
        return self.end - self.start + 1


@dataclass(frozen=True)
class Fit:
    """A callout against free phones, in score units per frame; lengths in frames."""

    mean_lack: float
    worst_lack: float
    shortest: int
    total: int
    words: int

    @property
    def confidence(self) -> float:
        """0 to 1; one half where right and wrong were equally frequent."""
        drawn_out = max(0.0, self.total / self.words - DRAWN_OUT_FRAMES)
        return logistic(
            -2.0
            - 0.047 * self.mean_lack
            - 0.069 * min(self.worst_lack, _WORST_COUNTED)
            + 0.088 * min(self.shortest, _SHORTEST_COUNTED)
            + 0.685 * math.log(self.total)
            - 0.085 * drawn_out
        )


def fit_of(said: Sequence[Segment], phones: Sequence[Segment]) -> Fit:
    """The fit of the words (at least one), each against the phones heard in its time."""
    free = _score_by_frame(phones, max(item.end for item in said) + 1)
    lacks = [float(free[item.start : item.end + 1].sum()) - item.score for item in said]
    total = sum(item.frames for item in said)
    return Fit(
        sum(lacks) / total,
        max(lack / item.frames for lack, item in zip(lacks, said, strict=True)),
        min(item.frames for item in said),
        total,
        len(said),
    )


def word_confidence(said: Segment, phones: Sequence[Segment]) -> float:
    """As if the word had been said alone, ignoring its length: short words are no worse."""
    fit = fit_of([said], phones)
    return logistic(2.29 - 0.11 * fit.mean_lack)


def _score_by_frame(segments: Sequence[Segment], least: int) -> NDArray[np.float64]:
    """Each segment's score spread evenly over its frames; 0 if none was heard."""
    scores = np.zeros(max([least, *(item.end + 1 for item in segments)]))
    for item in segments:
        scores[item.start : item.end + 1] = item.score / item.frames
    return scores
