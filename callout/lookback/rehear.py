"""Hears stored sounds again with any engine, and reports where the result differs.

The engine listens for what could be said in that plot at that moment, new trees included. One sound
is in memory at a time. Nothing is written, and no reading is changed.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from multiprocessing import get_context
from pathlib import Path

from callout.core.errors import CalloutError
from callout.core.meaning import Meaning
from callout.core.model import Plot
from callout.grammar.language import Language
from callout.journal.audio import AudioStore
from callout.lookback.replay import Moment
from callout.sound.sound_files import decode_flac
from callout.speech.engine import SAMPLE_RATE_HZ, Engine, Samples
from callout.station.data import load_grammar, load_language
from callout.station.deciding import Narrowed, sure
from callout.station.hearing.engines import choose_engine
from callout.station.scopes import scope_of, survey_species
from callout.wording.language_files import english

# How much a difference matters, worst first.
SAVED_OTHER, SAVED_UNHEARD, OTHER, UNHEARD, WORDS, SAME = 5, 4, 3, 2, 1, 0
SEVERITY = {
    SAVED_OTHER: "a saved reading is heard otherwise",
    SAVED_UNHEARD: "a saved reading is not heard",
    OTHER: "heard otherwise, nothing was saved by it",
    UNHEARD: "not heard, nothing was saved by it",
    WORDS: "other words of the same meaning",
    SAME: "the same",
}


@dataclass(frozen=True)
class Again:
    """A moment heard again. ``fault`` says why its sound could not be."""

    moment: Moment
    words: str
    meanings: tuple[Meaning, ...]
    confidence: float
    seconds: float
    fault: str = ""

    @property
    def severity(self) -> int:
        """How bad the difference is: 0 for none, up to ``SAVED_OTHER``."""
        then, saved = self.moment.heard, self.moment.saved
        by_callout = saved is not None and not self.moment.saved_by
        if self.fault or not self.words:
            return SAVED_UNHEARD if by_callout else UNHEARD if then.words else SAME
        if self.meanings != then.meanings:
            return SAVED_OTHER if by_callout else OTHER
        return WORDS if self.words != then.words else SAME

    @property
    def weight(self) -> tuple[int, float]:
        """For sorting, worst first: the severity, then how far apart the sizes are."""
        return (-self.severity, -self._apart())

    def _apart(self) -> float:
        then = self.moment.meaning
        now = self.meanings[0] if len(self.meanings) == 1 else None
        if then is None or now is None or then.value is None or now.value is None:
            return 0.0
        larger = max(then.value, now.value, Decimal(1))
        return float(abs(now.value - then.value) / larger)


class Rehearing:
    """One engine for hearing the stored sounds."""

    def __init__(
        self, engine: Engine, language: Language, plots: Mapping[str, Plot], sounds: AudioStore
    ) -> None:
        self._narrowed = Narrowed(engine, language)
        self._plots, self._sounds = plots, sounds

    def hear(self, moment: Moment) -> Again:
        """Hear a moment that has a sound again."""
        try:
            samples = decode_flac(self._sounds.read(str(moment.heard.audio)))
        except CalloutError as error:
            return Again(moment, "", (), 0.0, 0.0, english().part(error.saying))
        return self.hear_samples(moment, samples)

    def hear_samples(self, moment: Moment, samples: Samples) -> Again:
        """Hear the moment again from its decoded sound."""
        scope = scope_of(self._plots[moment.plot], moment.new_tags)
        seconds = len(samples) / SAMPLE_RATE_HZ
        candidates = self._narrowed.to(scope).hear(samples)
        if not candidates:
            return Again(moment, "", (), 0.0, seconds)
        best = candidates[0]
        meanings = sure(best, scope, waits=bool(moment.heard.about)).meanings
        return Again(moment, best.words, meanings, best.confidence, seconds)


def hear_again(
    found: Iterable[Moment],
    engine: Engine,
    language: Language,
    plots: Mapping[str, Plot],
    sounds: AudioStore,
) -> Iterator[Again]:
    """Each moment that has a sound, except notes, heard by ``engine``; lazy."""
    rehearing = Rehearing(engine, language, plots, sounds)
    return (rehearing.hear(moment) for moment in with_sound(found))


def with_sound(found: Iterable[Moment]) -> Iterator[Moment]:
    """The moments that can be heard again: not notes, and not those whose sound was removed."""
    return (
        moment
        for moment in found
        if moment.heard.audio and not moment.memo and moment.removed_by is None
    )


def language_for(code: str, plots: Mapping[str, Plot], grammar: Path | None) -> Language:
    """The survey's language, or one with the user's own grammar."""
    species = survey_species(plots.values())
    return load_grammar(grammar, code, species) if grammar else load_language(code, species)


# ---- by several processes ----


@dataclass(frozen=True)
class Ear:
    """How another process makes the same engine for the same survey."""

    engine: str
    model: str
    language: str
    plots: Mapping[str, Plot]
    sounds: AudioStore
    grammar: Path | None = None

    def rehearing(self) -> Rehearing:
        """The engine, ready. Raises OperatorError if it is not available."""
        language = language_for(self.language, self.plots, self.grammar)
        engine = choose_engine(self.engine, language, self.model)
        return Rehearing(engine, language, self.plots, self.sounds)


def hear_by_many(found: Iterable[Moment], ear: Ear, processes: int) -> Iterator[Again]:
    """As ``hear_again``, by that many processes, each with an engine of its own; in order."""
    wanted = list(with_sound(found))
    pieces = [wanted[at : at + _PIECE] for at in range(0, len(wanted), _PIECE)]
    # A fork would copy the libraries' threads and locks in whatever state they are.
    with (
        _one_thread_each(),
        ProcessPoolExecutor(
            processes, mp_context=get_context("spawn"), initializer=_begin, initargs=(ear,)
        ) as pool,
    ):
        for results in pool.map(_hear_piece, pieces):
            yield from results


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Let processes started here use one thread each, so that they do not wait for each other."""
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


_PIECE = 8
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
_own: list[Rehearing] = []


def _begin(ear: Ear) -> None:
    _own.append(ear.rehearing())


def _hear_piece(piece: list[Moment]) -> list[Again]:
    return [_own[0].hear(moment) for moment in piece]
