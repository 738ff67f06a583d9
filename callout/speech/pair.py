"""Two engines that listen to the same sound, and answer as one.

Where they differ, the meanings of both are returned with too little confidence to be taken, so that
the station asks. Agreement does not remove doubt: of what the closed engine doubted and
PocketSphinx heard alike, a third was wrong (docs/hearing.md), since both err on the same sounds. A
second that hears nothing does not object: engines reject the voices they know least. A callout with
a word that the first can never hear, e.g. a species, is left to the second, unless the first is
sure of another.
"""

from __future__ import annotations

from callout.grammar.automaton import Automaton
from callout.speech.engine import Candidate, Engine, Samples, TellsUnknown
from callout.speech.timed import TimedWord, TimesWords

# Well below one half, the limit from which a meaning is taken.
_APART = 0.25


class PairEngine:
    """``first`` proposes, ``second`` agrees or objects."""

    def __init__(self, first: Engine, second: Engine) -> None:
        self._first, self._second = first, second
        self.name = f"{first.name}+{second.name}"
        self.model = f"{first.model}; {second.model}"
        self._only_second: frozenset[str] = frozenset()

    def prepare(self, spoken: Automaton) -> None:
        """Both listen for this automaton's callouts from now on."""
        self._first.prepare(spoken)
        self._second.prepare(spoken)
        self._only_second = _unknown(self._first, spoken) - _unknown(self._second, spoken)

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """What both may have heard, likeliest first; empty if the first hears no callout."""
        heard = self._first.hear(samples)
        best = next(iter(heard), None)
        if best is None and not self._only_second:
            return ()
        other = next(iter(self._second.hear(samples)), None)
        if other is None or not other.meanings:
            return heard
        if self._only_second.intersection(other.words.split()):
            return (other,) if best is None or best.confidence < 0.5 else (_apart(best, other),)
        if best is None:
            return ()
        common = tuple(meaning for meaning in best.meanings if meaning in other.meanings)
        if common:
            likely = tuple(meaning for meaning in best.likely if meaning in common)
            return (Candidate(best.words, common, best.confidence, likely),)
        return (_apart(best, other),)

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """Words that neither can hear."""
        return tuple(sorted(_unknown(self._first, spoken) & _unknown(self._second, spoken)))

    def timed(self, samples: Samples) -> tuple[TimedWord, ...]:
        """The first engine's words and times, if it can give them."""
        return self._first.timed(samples) if isinstance(self._first, TimesWords) else ()


def _unknown(engine: Engine, spoken: Automaton) -> frozenset[str]:
    return frozenset(engine.unknown_words(spoken) if isinstance(engine, TellsUnknown) else ())


def _apart(best: Candidate, other: Candidate) -> Candidate:
    """Both meanings, with too little confidence for either."""
    both = tuple(dict.fromkeys((*best.meanings, *other.meanings)))
    return Candidate(best.words, both, min(best.confidence, _APART))
