"""Finds the moments of a survey: what was said, what came of it, and what happened since.

Moments come from feeding the journal to a fresh session, so they need no table. Hearing them again
with another engine is in ``rehear``. Nothing is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal

from callout.core.events import Effect, Heard, KeepMemo, Save, Say
from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.core.people import plain_name
from callout.core.saying import Says
from callout.journal.reader import Entry
from callout.journal.removals import removed_in
from callout.journal.rulings import KIND, Ruling, ruling_from
from callout.session.state import Memory
from callout.station.upkeep.rebuild import Step, steps


@dataclass
class Moment:
    """One callout, in the plot and about the tree it was taken for.

    ``saved`` is the reading that this callout became; ``saved_by``: this is its confirmation.
    ``superseded_by`` and ``undone_by`` are later entries, ``removed_by`` is the order by which the
    sound was removed.
    """

    entry: int
    at: str
    plot: str
    who: str
    heard: Heard
    tags: frozenset[str]
    said: tuple[Says, ...]
    new_tags: frozenset[str] = frozenset()
    memo: bool = False
    saved: Reading | None = None
    saved_by: bool = False
    undoes: int | None = None
    superseded_by: int | None = None
    undone_by: int | None = None
    rulings: list[Ruling] = field(default_factory=list)
    removed_by: int | None = None

    @property
    def day(self) -> str:
        """The day by the recorder's own clock, as 2026-06-02."""
        return self.at[:10]

    @property
    def meaning(self) -> Meaning | None:
        """Its meaning, if there was exactly one."""
        return self.heard.meanings[0] if len(self.heard.meanings) == 1 else None


@dataclass(frozen=True)
class Wanted:
    """Which moments to list; None means any.

    ``begin`` and ``until`` are times of day by the recorder's own clock; the latter is excluded.
    """

    tree: str | None = None
    plot: str | None = None
    on: date | None = None
    who: str | None = None
    warning: str | None = None
    below: Decimal | None = None
    begin: time | None = None
    until: time | None = None

    def has(self, moment: Moment) -> bool:
        """Whether the moment is wanted."""
        saved, confidence = moment.saved, moment.heard.confidence
        warnings = saved.warnings if saved else ()
        return all(
            (
                self.tree is None or self.tree in moment.tags,
                self.plot is None or self.plot == moment.plot,
                self.on is None or self.on == datetime.fromisoformat(moment.at).date(),
                self.who is None or plain_name(self.who) == plain_name(moment.who),
                self.begin is None or self.begin <= _clock(moment),
                self.until is None or _clock(moment) < self.until,
                self.warning is None
                or self.warning in warnings
                or (self.warning == "" and bool(warnings)),
                self.below is None or (confidence is not None and confidence < self.below),
            )
        )


# Callouts about a pending reading that change a part of it.
_ADDING = ("height", "status", "retag")


def _clock(moment: Moment) -> time:
    return datetime.fromisoformat(moment.at).time()


class _Teller:
    """Follows the session and ties each callout to the reading it became."""

    def __init__(self) -> None:
        self.moments: list[Moment] = []
        self._by_reading: dict[int, list[Moment]] = {}
        self._asked: list[Moment] = []
        self._new: dict[str, frozenset[str]] = {}

    def take(self, done: Step) -> None:
        if done.entry.kind == KIND:
            ruling = ruling_from(done.entry)
            for moment in self._by_reading.get(ruling.reading, []):
                moment.rulings.append(ruling)
        if not isinstance(done.event, Heard):
            if done.memory.pending is None:
                self._asked = []
            return
        moment = self._moment(done, done.event)
        self.moments.append(moment)
        for effect in done.effects:
            if isinstance(effect, Save):
                self._saved(moment, effect.reading)
        self._follow(done, moment)

    def _moment(self, done: Step, event: Heard) -> Moment:
        return Moment(
            entry=event.entry,
            at=event.at,
            plot=done.memory.plot,
            who=done.memory.who,
            heard=event,
            tags=_tags(done, event),
            said=tuple(effect.says for effect in done.effects if isinstance(effect, Say)),
            new_tags=self._new.get(done.memory.plot, frozenset()),
            memo=any(isinstance(effect, KeepMemo) for effect in done.effects),
        )

    def _saved(self, moment: Moment, reading: Reading) -> None:
        before = self._by_reading.get(reading.supersedes or 0, [])
        if reading.void:
            moment.undoes = reading.supersedes
            for earlier in before:
                earlier.undone_by = reading.entry
            return
        for earlier in before:
            earlier.superseded_by = reading.entry
        moment.saved_by = True
        for part in (*self._asked, moment):
            part.saved = reading
        self._by_reading[reading.entry] = [*self._asked, moment]
        if reading.is_new or reading.new_tag:
            known = self._new.get(reading.plot, frozenset())
            self._new[reading.plot] = known | {reading.tag_now}

    def _follow(self, done: Step, moment: Moment) -> None:
        """Track which callouts the pending reading is made of."""
        before, after = done.before.pending, done.memory.pending
        if after is None:
            self._asked = []
        elif after != before:
            meaning = moment.meaning
            same = before is not None and before.draft.tag == after.draft.tag
            adds = same and meaning is not None and meaning.kind in _ADDING
            self._asked = [*self._asked, moment] if adds else [moment]


def _tags(done: Step, event: Heard) -> frozenset[str]:
    """The trees that a callout may have been about."""
    said = {meaning.tag for meaning in event.meanings if meaning.tag}
    said |= {meaning.new_tag for meaning in event.meanings if meaning.new_tag and said}
    return frozenset(
        said or _in_hand(done.before) | _in_hand(done.memory) | _of_effects(done.effects)
    )


def _of_effects(effects: tuple[Effect, ...]) -> set[str]:
    saved = {tag for effect in effects if isinstance(effect, Save) for tag in _both(effect.reading)}
    noted = {effect.tag for effect in effects if isinstance(effect, KeepMemo) and effect.tag}
    return saved | noted


def _both(reading: Reading) -> set[str]:
    """The roster's tag of the tree, and the one that replaced it."""
    return {reading.tag, reading.tag_now}


def _in_hand(memory: Memory) -> set[str]:
    if memory.pending is not None:
        return _both(memory.pending.draft)
    return {memory.named} if memory.named else set()


def moments(entries: Iterable[Entry]) -> list[Moment]:
    """Every callout of the journal, oldest first, with what came of it."""
    entries = list(entries)
    teller, removed = _Teller(), removed_in(entries)
    for done in steps(entries):
        teller.take(done)
    for moment in teller.moments:
        moment.removed_by = removed.get(moment.heard.audio or "")
    return teller.moments


def chosen(found: Iterable[Moment], wanted: Wanted) -> Iterator[Moment]:
    """The wanted moments, in order."""
    return (moment for moment in found if wanted.has(moment))
