"""An invented survey (site Harrow Fen) and events for the session's tests."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

import in_english

from callout.core.checking.checks import Rules
from callout.core.events import Effect, Event, Heard, Opened, Save, Say, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, Plot, PlotSettings, Reading, Tree
from callout.core.units import Scale, Unit
from callout.session.machine import step
from callout.session.state import Memory, Survey

LAST_VISIT = date(2019, 6, 1)
TODAY = "2024-06-01T10:00:00+00:00"


def _plot(name: str, unit: Unit, sizes: dict[str, str]) -> Plot:
    trees = {
        tag: Tree(name, tag, "beech", (PastMeasurement(LAST_VISIT, Decimal(size), unit),))
        for tag, size in sizes.items()
    }
    return Plot(PlotSettings(name, unit=unit), trees)


SURVEY = Survey(
    {
        "K1": _plot("K1", Unit.INCH, {"7": "25.0", "83": "24.1"}),
        "K2": _plot("K2", Unit.CENTIMETRE, {"40": "30.0", "83": "24.0", "84": "18.0"}),
    },
    dict.fromkeys(("K1", "K2"), Rules(walk=False, accept_word=False)),
)


def reading(tag: str | None, value: str, **more: object) -> Meaning:
    return Meaning("reading", tag, Decimal(value), **more)  # type: ignore[arg-type]


def press(value: str, tag: str | None = None) -> Meaning:
    return Meaning("press", tag, Decimal(value), Unit.CENTIMETRE, scale=Scale.DIAMETER)


def size(value: str, kind: str = "size") -> Meaning:
    return Meaning(kind, value=Decimal(value))


class Dialogue:
    """A session being talked to, keeping all that was said to it and all it answered."""

    def __init__(self, plot: str = "K2") -> None:
        self.memory, self.events, self.effects = Memory(), [], []
        self.open(plot)

    def send(self, event: Event) -> tuple[Effect, ...]:
        self.memory, effects = step(SURVEY, self.memory, event)
        self.events.append(event)
        self.effects.append(effects)
        return effects

    @property
    def entry(self) -> int:
        return len(self.events) + 1

    def open(self, plot: str, who: str = "R.V.") -> tuple[Effect, ...]:
        return self.send(Opened(self.entry, TODAY, plot, who))

    def wait(self) -> tuple[Effect, ...]:
        return self.send(TimedOut(self.entry, TODAY))

    def hear(self, *meanings: Meaning | str, **more: object) -> tuple[Effect, ...]:
        """One callout; a string stands for a command."""
        given = tuple(Meaning(item) if isinstance(item, str) else item for item in meanings)
        fields = {"source": "typed", "words": "(words)", **more}
        return self.send(Heard(self.entry, TODAY, meanings=given, **fields))  # type: ignore[arg-type]


def saves(effects: Iterable[Effect]) -> list[Reading]:
    return [effect.reading for effect in effects if isinstance(effect, Save)]


def says(effects: Iterable[Effect]) -> str:
    return " ".join(in_english.told(effect) for effect in effects if isinstance(effect, Say))
