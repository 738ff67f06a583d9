"""What every recogniser offers: it is given an automaton, then hears whole utterances.

The automaton is the grammar narrowed to the plot, so an engine can only return what may be said
there. No microphone, session or roster here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from callout.core.meaning import Meaning
from callout.core.saying import Saying
from callout.grammar.automaton import Automaton
from callout.grammar.parser import meanings_of
from callout.grammar.words import Heard

Samples = NDArray[np.int16]
TellTrouble = Callable[[Saying | None], None]
SAMPLE_RATE_HZ = 16_000


@dataclass(frozen=True)
class Candidate:
    """Words that may have been said, what they mean, and how sure the engine is (0 to 1).

    Below one half ``meanings`` may hold alternatives too; ``likely`` then holds the meanings of the
    words alone, if they are much likelier right than not: to be echoed with a warning.
    """

    words: str
    meanings: tuple[Meaning, ...]
    confidence: float
    likely: tuple[Meaning, ...] = ()


class Engine(Protocol):
    """A recogniser. ``name`` is the engine's, ``model`` says which model listens."""

    name: str
    model: str

    def prepare(self, spoken: Automaton) -> None:
        """Listen for this automaton's callouts from now on."""

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """What one utterance (16 kHz mono int16) may be, likeliest first; empty: no callout."""


@runtime_checkable
class TellsUnknown(Engine, Protocol):
    """An engine that can name the words it will never hear."""

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words of the automaton that its model lacks, e.g. names of species, in order."""


@runtime_checkable
class RunsApart(Engine, Protocol):
    """An engine in a process of its own, which may fail and has to be ended.

    ``patient``: nobody can repeat an utterance, so that each one is heard if possible.
    """

    patient: bool

    def on_trouble(self, tell: TellTrouble) -> None:
        """Whom to tell when it fails (what is wrong), or hears again (None)."""

    def close(self) -> None:
        """End its process."""


def candidate_of(spoken: Automaton, words: Sequence[str], confidence: float) -> Candidate:
    """A candidate with every meaning that the automaton gives the words."""
    heard = [Heard(word, word) for word in words]
    return Candidate(" ".join(words), meanings_of(spoken, heard), round(confidence, 3))
