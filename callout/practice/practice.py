"""Practice: an invented plot, one card per tree that says what to call, and the score.

The score watches a real station and decides nothing. Trees and sizes are generated from a number;
the same number gives the same plot.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from callout.core.events import Effect, Heard, Opened, Save, Say
from callout.core.model import PastMeasurement, Reading, Tree
from callout.core.units import Unit
from callout.practice.drill import Misheard, drilled_size, drilled_tags, said_one_by_one, slips_told
from callout.station.done import Done

PLOT = "PRACTICE"
_VISIT = date(2021, 6, 9)
# Commands after which a callout was not right the first time.
_TROUBLE = ("reject", "scratch", "undo", "amend", "repeat")


@dataclass(frozen=True)
class Card:
    """What to call: the tag, and what the tape shows, in the plot's unit."""

    tag: str
    size: Decimal


def invented(number: int, trees: int, unit: Unit) -> tuple[tuple[Tree, ...], tuple[Card, ...]]:
    """A roster of ``trees`` with one earlier visit, and what each measures today."""
    chance = random.Random(number)
    low, high = (50, 300) if unit is Unit.INCH else (80, 700)
    cards = []
    for tag in sorted(chance.sample(range(1, 400), trees)):
        before = Decimal(chance.randint(low, high)) / 10
        cards.append(Card(str(tag), before + _grown(chance, unit)))
    return _roster(chance, cards, unit), tuple(cards)


def drilled(
    number: int, trees: int, unit: Unit, *, checked: bool = False
) -> tuple[tuple[Tree, ...], tuple[Card, ...]]:
    """As ``invented``, with numbers that sound alike; ``checked``: tags end in a check digit."""
    chance = random.Random(number)
    tags = drilled_tags(chance, trees, checked=checked)
    cards = tuple(Card(tag, drilled_size(chance, unit)) for tag in tags)
    return _roster(chance, cards, unit), cards


def _grown(chance: random.Random, unit: Unit) -> Decimal:
    return Decimal(chance.randint(1, 4) if unit is Unit.INCH else chance.randint(3, 12)) / 10


def _roster(chance: random.Random, cards: Sequence[Card], unit: Unit) -> tuple[Tree, ...]:
    """The trees of the cards, each a little smaller five years before, without species.

    No species is called in practice, and an engine lacking its name would warn at every start.
    """
    before = [card.size - _grown(chance, unit) for card in cards]
    return tuple(
        Tree(PLOT, card.tag, "", (PastMeasurement(_VISIT, size, unit),))
        for card, size in zip(cards, before, strict=True)
    )


@dataclass
class Tried:
    """How one card went. ``wrong`` are values or trees saved that were not on the card."""

    card: Card
    asked_again: int = 0
    wrong: list[str] = field(default_factory=list)
    misheard: list[Misheard] = field(default_factory=list)
    by_numeral: int = 0
    """Callouts with a word such as "fifteen", which is two figures in one."""
    seconds: float | None = None

    @property
    def first_time(self) -> bool:
        """Saved correctly, and nothing had to be said twice."""
        return self.seconds is not None and not self.asked_again and not self.wrong


class Score:
    """Follows a station through the cards; give ``take`` to ``Station.watch``."""

    def __init__(self, cards: Sequence[Card]) -> None:
        self.tried = [Tried(card) for card in cards]
        self._at = 0
        self._since: datetime | None = None

    @property
    def wrong(self) -> int:
        """How many values or trees were saved so far that were not on the card."""
        return sum(len(item.wrong) for item in self.tried)

    @property
    def current(self) -> Card | None:
        """The card to be called now; None when all are done."""
        return self.tried[self._at].card if self._at < len(self.tried) else None

    def take(self, done: Done) -> None:
        """Take one event of the station."""
        if done.event is None:
            return
        now = datetime.fromisoformat(done.event.at)
        if isinstance(done.event, Opened) or self._since is None:
            self._since = now
        if self.current is None or not isinstance(done.event, Heard):
            return
        tried = self.tried[self._at]
        tried.misheard += misheard(done.event, tried.card)
        tried.by_numeral += not said_one_by_one(done.event.words)
        saved = [item.reading for item in done.effects if isinstance(item, Save)]
        if not saved:
            tried.asked_again += _went_wrong(done.event, done.effects, tried.card)
            return
        reading = saved[-1]
        if reading.void:
            tried.asked_again += 1
        elif _is_right(reading, tried.card):
            tried.seconds = (now - self._since).total_seconds()
            self._at, self._since = self._at + 1, now
        else:
            told = reading.value if reading.value is not None else reading.status
            tried.wrong.append(f"{reading.tag_now} {told}")


def _is_right(reading: Reading, card: Card) -> bool:
    # A real tape shows its own size; only the tree can be checked.
    return reading.tag == card.tag and (reading.source == "tape" or reading.value == card.size)


def _went_wrong(heard: Heard, effects: Sequence[Effect], card: Card) -> bool:
    """Whether the callout was refused, taken back, or taken for something else."""
    refused = any(isinstance(item, Say) and item.tone == "refused" for item in effects)
    if refused or heard.problem or len(heard.meanings) != 1:
        return True
    meaning = heard.meanings[0]
    other_tree = meaning.tag is not None and meaning.tag != card.tag
    tape = heard.source == "tape"
    other_size = meaning.value is not None and not tape and meaning.value != card.size
    return meaning.kind in _TROUBLE or other_tree or other_size


def misheard(heard: Heard, card: Card) -> list[Misheard]:
    """The parts of the card that were misheard or asked about; a tape mishears nothing."""
    if heard.source == "tape":
        return []
    found: dict[Misheard, None] = {}
    doubted = heard.problem is not None or len(heard.meanings) != 1
    for meaning in heard.meanings:
        if meaning.tag not in (None, card.tag):
            found[Misheard("tag", card.tag, str(meaning.tag), doubted)] = None
        if meaning.value not in (None, card.size):
            found[Misheard("size", f"{card.size}", f"{meaning.value}", doubted)] = None
    return list(found)


def misheard_told(tried: Sequence[Tried], *, by_figures: bool) -> str:
    """What was misheard and, if ``by_figures``, how often numbers were not said digit by digit."""
    slips = [slip for item in tried for slip in item.misheard]
    told = f"Heard wrongly: {slips_told(s for s in slips if not s.doubted) or 'nothing'}."
    if doubted := slips_told(slip for slip in slips if slip.doubted):
        told += f" In doubt: {doubted}."
    numerals = sum(item.by_numeral for item in tried)
    return told + (f" Callouts not said one by one: {numerals}." if by_figures else "")


def summary(tried: Sequence[Tried]) -> str:
    """The score in words."""
    done = [item for item in tried if item.seconds is not None]
    times = sorted(item.seconds for item in done if item.seconds is not None)
    first = sum(item.first_time for item in done)
    wrong = sum(len(item.wrong) for item in tried)
    again = sum(item.asked_again for item in tried)
    middle = f", median {times[len(times) // 2]:.1f} s a tree" if times else ""
    return (
        f"{len(done)} of {len(tried)} trees; right the first time {first}; asked or said again "
        f"{again}; saved wrong {wrong}{middle}."
    )
