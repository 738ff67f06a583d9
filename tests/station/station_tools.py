"""A real station with a scripted recogniser, for tests and for the process that gets killed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

import in_english
import numpy as np

from callout.core.events import Save, Say
from callout.grammar.automaton import Automaton
from callout.grammar.language import Language
from callout.grammar.scope import Scope
from callout.journal.folder import SurveyFolder
from callout.sound.frames import SAMPLE_RATE_HZ
from callout.sound.sound_files import encode_flac
from callout.sound.voice import Voice
from callout.speech.engine import Candidate, Samples, candidate_of
from callout.station.data import load_language
from callout.station.done import Done
from callout.station.station import Station

BEGAN = datetime(2026, 6, 2, 9, 15, tzinfo=timezone(timedelta(hours=2)))


@dataclass(frozen=True)
class NarrowedOnce(Language):
    """The language; each plot's automaton is made once, since tests open plots very often."""

    made: dict[Scope, Automaton] = field(default_factory=dict)

    def spoken_in(self, scope: Scope) -> Automaton:
        if scope not in self.made:
            self.made[scope] = super().spoken_in(scope)
        return self.made[scope]


LANGUAGE = NarrowedOnce(**vars(load_language("en", ("beech", "red oak", "white pine"))))


def sound(mark: int) -> Samples:
    """A third of a second of noise, another one for each mark."""
    return np.random.default_rng(mark).integers(-3000, 3000, 5000, dtype=np.int16)


def wood(seconds: float) -> Samples:
    size = round(seconds * SAMPLE_RATE_HZ)
    return np.random.default_rng(83).normal(0, 20, size).astype(np.int16)


def spoken(*parts: str, pause_s: float = 0.0) -> tuple[Samples, float]:
    """The parts with a pause between them and a second of wood around; and when the last ends."""
    sound = [wood(1)]
    for part in parts:
        words = Voice().say(part)
        loud = np.flatnonzero(np.abs(words) > 330)
        words = words[loud[0] : loud[-1] + 1]
        sound += [words + wood(60)[: words.size], wood(pause_s)]
    end_s = sum(one.size for one in sound[:-1]) / SAMPLE_RATE_HZ
    return np.concatenate([*sound, wood(2)]), end_s


@dataclass
class ScriptedEngine:
    """Hears what it was told to hear next; counts how often it was prepared."""

    name: str = "scripted"
    model: str = "no sound"
    confidence: float = 0.9
    prepared: list[Automaton] = field(default_factory=list)
    next_words: str = ""

    def prepare(self, spoken: Automaton) -> None:
        self.prepared.append(spoken)

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        words = self.next_words.split()
        candidate = candidate_of(self.prepared[-1], words, self.confidence)
        return (candidate,) if words and candidate.meanings else ()


def clock() -> Callable[[], datetime]:
    """A clock that moves on by a second whenever it is asked."""
    moments: Iterator[datetime] = (BEGAN + timedelta(seconds=n) for n in range(10**9))
    return lambda: next(moments)


@contextmanager
def at_work(
    folder: SurveyFolder,
    engine: ScriptedEngine | None = None,
    now: Callable[[], datetime] | None = None,
) -> Iterator[Station]:
    """A station on that survey, closed at the end."""
    station = Station(folder, LANGUAGE, engine, encode_flac, now or clock())
    try:
        yield station
    finally:
        station.close()


def told_by(station: Station) -> list[Done]:
    """Everything that the station does from now on."""
    done: list[Done] = []
    station.watch(done.append)
    return done


def said(done: list[Done]) -> list[str]:
    return [
        in_english.told(effect)
        for item in done
        for effect in item.effects
        if isinstance(effect, Say)
    ]


def saves(done: list[Done]) -> list[Save]:
    return [effect for item in done for effect in item.effects if isinstance(effect, Save)]


def settle(station: Station) -> None:
    """Save what waits: confirmed, and accepted where the checks ask about it."""
    for _ in range(4):
        if station.memory.pending:
            station.press("accept")
    assert not station.memory.pending
