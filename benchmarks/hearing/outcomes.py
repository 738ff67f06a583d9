"""One engine at one set: what it made of each utterance, and the figures of a set.

Accepted is what ``station/deciding.sure`` takes within the scope, at its own least confidence or
at another. Nothing is heard here.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

import jiwer

from callout.core.meaning import Meaning
from callout.grammar.parser import choose
from callout.grammar.scope import Scope
from callout.speech.engine import Candidate
from callout.station.deciding import LEAST_CONFIDENCE


@dataclass(frozen=True)
class Outcome:
    """One utterance. ``one`` says whether the best candidate has a single meaning in the scope."""

    voice: str
    said: str
    heard: str
    confidence: float
    one: bool
    right: bool
    sound_s: float
    wall_s: float
    cpu_s: float

    def accepted(self, least: float = LEAST_CONFIDENCE) -> bool:
        """Whether the station would take it, were its least confidence that."""
        return self.one and self.confidence >= least


def outcome_of(
    voice: str,
    said: Sequence[str],
    truth: Meaning,
    found: tuple[Candidate, ...],
    scope: Scope,
    times: tuple[float, float, float],
) -> Outcome:
    """What the candidates come to; ``times`` are seconds of sound, by the clock and of work."""
    best = found[0] if found else Candidate("", (), 0.0)
    parsed = choose(best.words, best.meanings, scope)
    one = parsed.problem is None and len(parsed.meanings) == 1
    right = one and _saved_as(parsed.meanings[0]) == _saved_as(truth)
    return Outcome(
        voice, _plain(said), _plain(best.words.split()), best.confidence, one, right, *times
    )


def _saved_as(meaning: Meaning) -> Meaning:
    """A point that was implied and one that was said save the same size."""
    return replace(meaning, implied=False)


def _plain(words: Sequence[str]) -> str:
    return " ".join("zero" if word == "oh" else word for word in words)


@dataclass(frozen=True)
class Figures:
    """A set's figures: counts, the word error rate, seconds, and work over time of sound."""

    count: int
    right: int
    asked: int
    wrong: int
    words_wrong: float
    median_s: float
    load: float

    def __str__(self) -> str:
        shares = (f"{100 * n / self.count:.1f} %" for n in (self.right, self.asked))
        accepted = self.right + self.wrong
        return (
            f"{' | '.join(shares)} | {self.wrong} of {accepted} | {100 * self.words_wrong:.1f} % "
            f"| {1000 * self.median_s:.0f} | {self.load:.3f}"
        )


HEADING = "right at once | asked again | wrong of accepted | WER | median ms | real-time factor"


def figures(outcomes: Sequence[Outcome]) -> Figures:
    """The figures of at least one outcome."""
    taken = [one for one in outcomes if one.accepted()]
    right = sum(one.right for one in taken)
    errors = jiwer.wer([one.said for one in outcomes], [one.heard for one in outcomes])
    return Figures(
        len(outcomes),
        right,
        len(outcomes) - len(taken),
        len(taken) - right,
        float(errors),
        statistics.median(one.wall_s for one in outcomes),
        sum(one.cpu_s for one in outcomes) / sum(one.sound_s for one in outcomes),
    )
