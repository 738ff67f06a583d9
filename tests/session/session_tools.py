"""A pure session in an invented plot, driven by meanings; no journal, no sound."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

import in_english

from callout.core.checking.checks import Rules
from callout.core.events import Effect, Event, Heard, Opened, Save, Say, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, Plot, PlotSettings, Reading, Tree
from callout.core.units import Unit
from callout.session.machine import step
from callout.session.state import Memory, Survey

AT = "2026-06-02T09:15:00+02:00"
THEN = date(2021, 6, 2)


def tree(tag: str, value: str = "", species: str = "beech", **extra: str) -> Tree:
    past = (PastMeasurement(THEN, Decimal(value), Unit.CENTIMETRE),) if value else ()
    return Tree("K2", tag, species, past, extra)


def survey(*trees: Tree, rules: Rules | None = None) -> Survey:
    plot = Plot(PlotSettings("K2"), {item.tag: item for item in trees})
    return Survey({"K2": plot}, {"K2": rules or Rules(walk=False, accept_word=False)})


def replayed(survey: Survey, events: list[Event]) -> Memory:
    """The memory that a session fed these events has."""
    memory = Memory()
    for event in events:
        memory, _ = step(survey, memory, event)
    return memory


def renewed(value: Any) -> Any:
    """``value`` with every text in it made anew, as a journal gives it: equal, not the same."""
    if isinstance(value, str):
        return "".join(list(value))
    if isinstance(value, tuple):
        return tuple(renewed(item) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{item.name: renewed(getattr(value, item.name))
                                 for item in fields(value)})  # fmt: skip
    return value


class Talk:
    """A session under way: keeps its events, and tells what the last one led to."""

    def __init__(self, about: Survey, who: str = "R.V.") -> None:
        self.survey, self.memory, self.events = about, Memory(), list[Event]()
        self.effects: tuple[Effect, ...] = ()
        self.take(Opened(1, AT, "K2", who))

    def take(self, event: Event) -> None:
        event = renewed(event)
        self.events.append(event)
        self.memory, self.effects = step(self.survey, self.memory, event)

    def hear(self, kind: str, **parts: object) -> str:
        meaning = replace(Meaning(kind), **parts)  # type: ignore[arg-type]
        self.take(Heard(len(self.events) + 1, AT, "typed", kind, (meaning,)))
        return self.said

    def read(self, tag: str, value: str, **parts: object) -> str:
        return self.hear("reading", tag=tag, value=Decimal(value), **parts)

    def silence(self) -> str:
        """Nobody says a word for as long as the edge waits."""
        self.take(TimedOut(len(self.events) + 1, AT))
        return self.said

    def undo(self) -> str:
        """Said, and accepted."""
        self.hear("undo")
        return self.hear("accept")

    def open(self, plot: str, who: str = "R.V.") -> str:
        self.take(Opened(len(self.events) + 1, AT, plot, who))
        return self.said

    def save(self, tag: str, value: str, **parts: object) -> str:
        self.read(tag, value, **parts)
        return self.hear("accept")

    @property
    def said(self) -> str:
        return " / ".join(
            in_english.told(effect) for effect in self.effects if isinstance(effect, Say)
        )

    @property
    def saved(self) -> Reading:
        (effect,) = (item for item in self.effects if isinstance(item, Save))
        return effect.reading
