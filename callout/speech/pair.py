"""Two engines that listen to the same sound, and answer as one.

What both heard alike is taken at once; where they differ, the meanings of both are given back with
too little confidence to be taken, so that the station asks. A second engine that hears nothing does
not object: engines reject the voices they know least, and the first one's own doubt still counts.
"""

from __future__ import annotations

from callout.grammar.automaton import Automaton
from callout.speech.engine import Candidate, Engine, Samples, TellsUnknown
from callout.speech.timed import TimedWord, TimesWords

# Above one half, which is where a meaning is taken.
_ALIKE = 0.75
_APART = 0.25


class PairEngine:
    """``first`` proposes, ``second`` agrees or objects."""

    def __init__(self, first: Engine, second: Engine) -> None:
        self._first, self._second = first, second
        self.name = f"{first.name}+{second.name}"
        self.model = f"{first.model}; {second.model}"

    def prepare(self, spoken: Automaton) -> None:
        """Both listen for this automaton's callouts from now on."""
        self._first.prepare(spoken)
        self._second.prepare(spoken)

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """What both may have heard, likeliest first; empty where the first hears no callout."""
        heard = self._first.hear(samples)
        if not heard:
            return ()
        best, other = heard[0], next(iter(self._second.hear(samples)), None)
        if other is None or not other.meanings:
            return heard
        common = tuple(meaning for meaning in best.meanings if meaning in other.meanings)
        if common:
            sure = max(best.confidence, other.confidence, _ALIKE)
            return (Candidate(best.words, common, sure),)
        both = tuple(dict.fromkeys((*best.meanings, *other.meanings)))
        return (Candidate(best.words, both, min(best.confidence, _APART)),)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Those of the first engine: what it does not hear is not heard."""
        first = self._first
        return first.unknown_words(spoken) if isinstance(first, TellsUnknown) else ()

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The first engine's words and times, where it can tell them."""
        return self._first.timed(samples) if isinstance(self._first, TimesWords) else ()
