"""The review page: one self-contained file for the office, to see, hear and rule on readings.

Sounds are inside the page; it needs no network. It changes nothing: its rulings are exported as a
file for ``callout rule --import``. Look and behaviour are in ``templates/``; hearing sounds again
is not done here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from callout.core.counted import counted
from callout.core.model import PastMeasurement, Reading
from callout.journal.reader import JournalReader, current
from callout.journal.rulings import VERDICTS, WITHDRAWN, Ruling, rulings
from callout.reports.readings import note_told, notes_by_tree
from callout.reports.templating import beside, rendered

SoundOf = Callable[[str], tuple[str, str]]
"""By a sound's hash: the address that a page plays it from, or nothing and why there is none."""

# Nothing may be fetched, whatever a roster's text says.
_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; media-src data:"
)


@dataclass(frozen=True)
class ReviewRow:
    """A reading with its past and what happened to it since; ``today`` is a second hearing."""

    reading: Reading
    past: tuple[PastMeasurement, ...] = ()
    since: str = ""
    ruling: Ruling | None = None
    today: str | None = None
    notes: Sequence[Mapping[str, Any]] = ()
    """Those about its tree, as the journal has them."""
    recorder: str = ""
    where: str = ""
    """At a united site: the recorder's id, and what people call it."""
    grown: str = ""
    """How its growth is out of bounds."""
    disagrees: str = ""
    """What another recorder read of the stem, with nobody's ruling."""

    @property
    def name(self) -> str:
        """Its entry, at a site with its recorder before it."""
        entry = str(self.reading.entry)
        return f"{self.recorder}:{entry}" if self.recorder else entry

    @property
    def marks(self) -> Mapping[str, str]:
        """What the page finds and filters it by."""
        return {
            "plot": self.reading.plot,
            "warned": "yes" if self.reading.warnings else "",
            "ruled": "yes" if self.ruling else "",
            "stands": "" if self.since else "yes",
            "entry": self.name,
            "grown": "yes" if self.grown else "",
            "twice": "yes" if self.disagrees else "",
            "text": " ".join(_searched(self)).casefold(),
        }


def review_rows(
    reader: JournalReader, plot: str | None = None, today: Mapping[int, str] | None = None
) -> list[ReviewRow]:
    """Every reading ever saved, by plot and tree in roster order, oldest first within a tree."""
    plots, ruled, about = reader.plots(), rulings(reader), notes_by_tree(reader.memos())
    readings = [item for item in reader.readings() if plot in (None, item.plot)]
    standing = {item.entry for item in current(readings)}
    since = _since(readings)
    order = {
        (name, tag): at
        for at, (name, tag) in enumerate((name, tag) for name in plots for tag in plots[name].trees)
    }
    rows = []
    for item in readings:
        if item.void:
            continue
        tree = plots[item.plot].trees.get(item.tag) if item.plot in plots else None
        fate = "" if item.entry in standing else since.get(item.entry, "does not stand")
        rows.append(
            ReviewRow(
                item,
                tree.past if tree else (),
                fate,
                ruled.get(item.entry),
                (today or {}).get(item.entry),
                about.get((item.plot, item.tag), ()),
            )
        )
    rows.sort(
        key=lambda row: (
            order.get((row.reading.plot, row.reading.tag), len(order)),
            row.reading.plot,
            row.reading.tag,
            row.reading.entry,
        )
    )
    return rows


def _since(readings: Iterable[Reading]) -> dict[int, str]:
    """What became of readings that are no longer current."""
    found: dict[int, str] = {}
    for item in readings:
        if item.supersedes is not None:
            done = "undone" if item.void else "superseded"
            found[item.supersedes] = f"{done} by entry {item.entry}"
    return found


def _searched(row: ReviewRow) -> Iterator[str]:
    reading = row.reading
    yield from (
        reading.tag_now,
        reading.tag_note,
        reading.species,
        reading.who,
        reading.words,
        reading.told,
    )
    yield from reading.warnings
    yield from (note_told(memo) for memo in row.notes)


@dataclass(frozen=True)
class About:
    """What stands round the readings: the title, whose they are, what is left, notes elsewhere."""

    title: str
    whose: str
    made_at: datetime
    left: Sequence[str] = ()
    notes: Sequence[Mapping[str, Any]] = ()


def review_page(about: About, rows: Sequence[ReviewRow], sound_of: SoundOf) -> str:
    """The whole page as HTML."""
    heard_again = any(row.today is not None for row in rows)
    heads = ["Tree", "History", "Recorded", "Heard", "Warnings accepted", "Sound", "Ruling"]
    if heard_again:
        heads.insert(4, "Heard today")
    return rendered(
        "review.html",
        about=about,
        policy=_POLICY,
        count=counted(len(rows), "reading"),
        plots=list(dict.fromkeys(row.reading.plot for row in rows)),
        heads=heads,
        heard_again=heard_again,
        rows=rows,
        verdicts=[verdict for verdict in VERDICTS if verdict != WITHDRAWN],
        sound_of=sound_of,
        style=beside("common.css") + beside("review.css"),
        script=beside("player.js") + beside("review.js"),
    )
