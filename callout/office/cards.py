"""What the cards of the live page's lists show; their HTML is in ``templates/cards.html``.

Made of the parts that the one-file review page is made of. Nothing is read or written here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from callout.core.model import PastMeasurement, Reading
from callout.journal.rulings import Ruling
from callout.reports.review import SoundOf
from callout.reports.templating import rendered


@dataclass(frozen=True)
class CardOf:
    """A reading with all that its card shows; ``where`` is what people call its recorder by."""

    recorder: str
    where: str
    reading: Reading
    past: Sequence[PastMeasurement]
    since: str
    grown: str
    ruling: Ruling | None
    notes: Sequence[Mapping[str, Any]]
    sound_of: SoundOf

    @property
    def name(self) -> str:
        """Its recorder and entry, as a ruling names it."""
        return f"{self.recorder}:{self.reading.entry}"

    @property
    def seen(self) -> str:
        """The ruling that the card shows, as the next one names it."""
        return ruling_name(self.ruling)


@dataclass(frozen=True)
class PairOf:
    """Two readings of one stem, and how they differ."""

    about: str
    first: CardOf
    second: CardOf

    @property
    def title(self) -> str:
        """The stem, and how they differ."""
        reading = self.first.reading
        stem = f" stem {reading.stem}" if reading.stem else ""
        return f"{reading.plot} {reading.tag}{stem}: {self.about}"


@dataclass(frozen=True)
class Memo:
    """A note as its journal has it, about a tree or its plot."""

    told: Mapping[str, Any]
    where: str
    sound_of: SoundOf

    def has(self, find: str, plot: str) -> bool:
        """Whether it is of the plot ('': any) and holds what is looked for."""
        text = f"{self.told['plot']} {self.told['tag'] or ''} {self.told['words']}"
        return plot in ("", self.told["plot"]) and find.casefold().strip() in text.casefold()


def cards(show: str, items: Sequence[object]) -> str:
    """The cards of a list as HTML."""
    return rendered("cards.html", show=show, items=items)


def ruling_name(ruling: Ruling | None) -> str:
    """What tells a ruling from every other; '' for none."""
    return f"{ruling.entry} {ruling.at}" if ruling is not None else ""
