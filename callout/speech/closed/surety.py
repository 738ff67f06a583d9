"""How sure the engine is of the likeliest meaning, and which one that is, from both listeners.

The head's and the decoder's log probabilities are added; how far the best stands out, by either and
by both, is turned into the probability of being right by a logistic regression. A tree's previous
size takes no part. No sound and no model here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from callout.speech.closed.decode import Meant
from callout.speech.closed.second import Weighed
from callout.speech.odds import log_odds, logistic

# A lead greater than this says no more.
_MOST_LEAD, _MOST_JOINT_LEAD = 15.0, 20.0
_HEAD_MARGIN = 3.0
_SHORT = 2
_FIGURE_WORDS = (
    "zero oh one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
    "fifteen sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty "
    "ninety hundred thousand and point"
)
_FIGURES = frozenset(_FIGURE_WORDS.split())
_ANSWERS = (("@kind:confirm",), ("@kind:reject",), ("@kind:repeat",))


@dataclass(frozen=True)
class Thresholds:
    """Log probabilities in nats; where the figures come from stands in docs/hearing.md.

    A best meaning less likely than ``drop`` is no callout. Where both listeners judge, nor is one
    whose probability of being right is below ``noise`` (coughs, knocks), and one below ``accept``
    is asked about: from ``likely`` on by an echo with a warning. Where the head is alone, one less
    likely than ``doubt`` or less than ``margin`` above the next. A ``margin`` above the usual is
    one person's own, demanded in either case.

    An answer to an echo (yes, no, repeat) is taken from ``accept_answer`` on. Measured on people,
    this takes nothing more that is no answer.

    Many sentences begin or end with what could be a callout of one or two words. Such a callout is
    asked about if the head, with no grammar, hears something likelier by more than ``stray``.
    Any callout is, if the third listener does by more than ``doubted``.

    Where nothing but figures was heard, an accent makes one figure of another, and both listeners
    are sure of it: there the third doubts from ``doubted_figures`` on.
    """

    drop: float = -12.0
    doubt: float = -3.0
    margin: float = _HEAD_MARGIN
    accept: float = 0.95
    accept_answer: float = 0.8
    likely: float = 0.75
    noise: float = 0.3
    stray: float = 0.7
    doubted: float = 8.0
    doubted_figures: float = 0.5

    def least(self, best: Meant) -> float:
        """The probability from which on ``best`` is taken."""
        answers = len(best.words) <= _SHORT and best.emits in _ANSWERS
        return min(self.accept, self.accept_answer) if answers else self.accept

    def most_doubt(self, best: Meant) -> float:
        """The doubt of the third listener above which ``best`` is asked about."""
        figures = _FIGURES.issuperset(best.words)
        return min(self.doubted, self.doubted_figures) if figures else self.doubted

    def strays(self, best: Meant, free: float) -> float:
        """By how much the head hears too much else beside ``best``, in nats; below 0 if not."""
        return free - best.score - self.stray if len(best.words) <= _SHORT else -math.inf


@dataclass(frozen=True)
class Regression:
    """Weights of: the head's log probability, its lead, the decoder's lead, the joint lead, the
    decoder's log probability a word; and a constant. Fitted by ``python -m training.calibrate``.
    """

    head: float
    head_lead: float
    decoder_lead: float
    joint_lead: float
    a_word: float
    constant: float

    def probability(self, features: Sequence[float]) -> float:
        """Of being right, given the five features in their order."""
        weights = (self.head, self.head_lead, self.decoder_lead, self.joint_lead, self.a_word)
        told = sum(w * x for w, x in zip(weights, features, strict=True)) + self.constant
        return logistic(told)


CLEAR = Regression(0.6042, 0.0625, -0.0149, 0.2040, 0.8872, 4.1046)
# Where there is no treble, both listeners are as sure and more often wrong.
DULL = Regression(0.1256, 0.0052, 0.0810, 0.2982, 0.4463, 0.7512)


@dataclass(frozen=True)
class Choice:
    """The meaning taken, the next of other words, the confidence (0 to 1, one half where the
    meaning would just be asked about), and whether a doubtful one is much likelier right than not.
    """

    best: Meant
    rival: Meant | None
    confidence: float
    likely: bool = False


def distinct(found: Sequence[Meant]) -> tuple[Meant, ...]:
    """The likeliest of each word string: what the same words may also mean is no doubt of ears."""
    kept: dict[tuple[str, ...], Meant] = {}
    for one in found:
        kept.setdefault(one.words, one)
    return tuple(kept.values())


def by_head(found: Sequence[Meant], limits: Thresholds) -> Choice:
    """The choice of the head alone, for a model without a decoder's tokens."""
    near = distinct(found)
    rival = near[1] if len(near) > 1 else None
    return Choice(near[0], rival, confidence(found, limits))


def by_both(
    weighed: Sequence[Weighed], limits: Thresholds, free: float, no_treble: bool
) -> Choice | None:
    """The choice of head and decoder together, None for no callout.

    ``weighed`` holds each word string once. ``free`` is the log probability of the likeliest words
    in any order, with or without a meaning in the grammar. ``no_treble`` is what ``mel.dull`` says.
    """
    order = sorted(weighed, key=lambda one: -(one.head + one.decoder))
    best, rival = order[0], order[1] if len(order) > 1 else None
    probability = (DULL if no_treble else CLEAR).probability(features(weighed, best))
    if probability < limits.noise:
        return None
    over = log_odds(probability) - log_odds(limits.least(best.meant))
    if limits.margin > _HEAD_MARGIN:
        over = min(over, _lead([one.head for one in weighed], best.head, math.inf) - limits.margin)
    strays = limits.strays(best.meant, free)
    if strays > 0:
        over = min(over, -strays)
    likely = probability >= limits.likely and strays <= 0
    return Choice(best.meant, rival.meant if rival else None, logistic(over), likely)


def doubted(choice: Choice, doubt: float, limits: Thresholds) -> Choice:
    """``choice``, asked about if the third listener's ``doubt``, in nats, is too great."""
    over = doubt - limits.most_doubt(choice.best)
    if over <= 0:
        return choice
    return replace(choice, confidence=min(choice.confidence, logistic(-over)), likely=False)


def features(weighed: Sequence[Weighed], best: Weighed) -> tuple[float, ...]:
    """What the regression looks at, in its order."""
    return (
        best.head,
        _lead([one.head for one in weighed], best.head, _MOST_LEAD),
        _lead([one.decoder for one in weighed], best.decoder, _MOST_LEAD),
        _lead(
            [one.head + one.decoder for one in weighed], best.head + best.decoder, _MOST_JOINT_LEAD
        ),
        best.decoder / (len(best.meant.words) + 1),
    )


def _lead(scores: list[float], best: float, most: float) -> float:
    """By how much ``best`` stands above the highest of the others; below nought if it does not."""
    others = list(scores)
    others.remove(best)
    return min(most, best - max(others)) if others else most


def confidence(found: Sequence[Meant], limits: Thresholds) -> float:
    """0 to 1 by the head alone; one half where the best meaning would just be asked about."""
    near = distinct(found)
    margin = near[0].score - near[1].score if len(near) > 1 else math.inf
    return logistic(min(near[0].score - limits.doubt, margin - limits.margin))
