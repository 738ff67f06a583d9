"""The live page's lists as HTML: a reading a card, two side by side where they disagree.

Made of the parts that the one-file review page is made of. Nothing is read or written here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from callout.core.model import PastMeasurement, Reading
from callout.crews.twice import Disagreement
from callout.journal.rulings import Ruling
from callout.office.desk_index import Left
from callout.reports.review_history import history_cell
from callout.reports.review_parts import (
    SoundOf,
    heard_told,
    note,
    notes_told,
    size_told,
    sound_told,
    tree_told,
    warnings_told,
)

_PAIR = (
    ("1", "1 stands, 2 is void"), ("2", "2 stands, 1 is void"),
    ("both", "both stand"), ("none", "both are void"),
)  # fmt: skip
_ONE = ("stands", "amended", "void")


@dataclass(frozen=True)
class CardOf:
    """A reading with all that its card shows; ``where`` is what people call its recorder by."""

    recorder: str
    where: str
    reading: Reading
    past: tuple[PastMeasurement, ...]
    since: str
    ruling: Ruling | None
    notes: Sequence[Mapping[str, Any]]

    @property
    def name(self) -> str:
        """Its recorder and entry, as a ruling names it."""
        return f"{self.recorder}:{self.reading.entry}"


def card(item: CardOf, sound_of: SoundOf) -> str:
    """One reading, with the buttons to rule on it."""
    return (
        f'<li class="card{" gone" if item.since else ""}" tabindex="-1" data-name="{item.name}" '
        f'data-seen="{_seen(item)}">{_body(item, sound_of)}{_buttons(item)}</li>'
    )


def pair_card(pair: Disagreement, first: CardOf, second: CardOf, sound_of: SoundOf) -> str:
    """Two readings of one stem side by side, with the buttons to choose between them."""
    about = escape(f"{first.reading.plot} {first.reading.tag}: {pair.about}")
    sides = "".join(
        f'<section aria-label="{side}: {escape(item.reading.who)}" data-name="{item.name}" '
        f'data-seen="{_seen(item)}"><h4>{side}: {escape(item.reading.who)}</h4>'
        f"{_body(item, sound_of)}</section>"
        for side, item in ((1, first), (2, second))
    )
    choices = "".join(
        f'<button type="button" class="choose" data-choice="{choice}">{words}</button>'
        for choice, words in _PAIR
    )
    return (
        f'<li class="card pair" tabindex="-1" aria-label="{about}"><h3>{about}</h3>'
        f'<div class="sides">{sides}</div><div class="choices">{choices}</div></li>'
    )


def left_card(item: Left, survey: str) -> str:
    """A tree that is left to measure."""
    return (
        f'<li class="card" tabindex="-1">{escape(item.plot)} <b>{escape(item.tag)}</b>'
        f"<small>{escape(item.species)}</small><small>not measured in {escape(survey)}</small></li>"
    )


def note_card(memo: Mapping[str, Any], where: str, sound_of: SoundOf) -> str:
    """A note, about a tree or its plot."""
    about = f"<b>{escape(memo['tag'])}</b>" if memo["tag"] else "the plot"
    return (
        f'<li class="card" tabindex="-1">{escape(memo["plot"])} {about}: {note(memo, sound_of)}'
        f"<small>{escape(memo['at'][:16].replace('T', ' '))}, {escape(where)}</small></li>"
    )


def _body(item: CardOf, sound_of: SoundOf) -> str:
    ruled = ""
    if item.ruling is not None:
        ruled = f'<p class="ruled">{escape(item.ruling.told)}</p>'
    return (
        f'<div class="tree">{tree_told(item.reading)}</div>'
        f'<div class="size">{size_told(item.reading, item.since)}</div>'
        f'<div class="history">{history_cell(item.reading, item.past)}</div>'
        f'<div class="heard">{heard_told(item.reading)}'
        f"<small>recorder {escape(item.where)}</small></div>"
        f'<div class="warned">{warnings_told(item.reading)}{notes_told(item.notes, sound_of)}</div>'
        f'<div class="sound">{sound_told(item.reading, sound_of)}</div>{ruled}'
    )


def _buttons(item: CardOf) -> str:
    about = escape(f"tree {item.reading.tag}, entry {item.reading.entry}")
    unit = item.reading.unit.value
    made = [
        f'<button type="button" class="rule" data-verdict="{verdict}" data-unit="{unit}" '
        f'aria-label="{verdict}: {about}">{verdict}</button>'
        for verdict in (*_ONE, *(["withdrawn"] if item.ruling is not None else []))
    ]
    return f'<div class="choices">{"".join(made)}</div>'


def _seen(item: CardOf) -> str:
    return escape(ruling_name(item.ruling))


def ruling_name(ruling: Ruling | None) -> str:
    """What tells a ruling from every other; '' for none."""
    return f"{ruling.entry} {ruling.at}" if ruling is not None else ""
