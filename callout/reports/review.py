"""The review page: one self-contained file for the office, to see, hear and rule on readings.

Sounds are inside the page; it needs no network. It changes nothing: its rulings are exported as a
file for ``callout rule --import``. Style and behaviour are in ``review.css`` and ``review.js``
beside this file; hearing sounds again is not done here.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from typing import Any

from callout.core.model import PastMeasurement, Reading
from callout.journal.reader import JournalReader, current
from callout.journal.rulings import VERDICTS, WITHDRAWN, Ruling, rulings
from callout.reports.readings import note_told, notes_by_tree
from callout.reports.review_history import history_cell
from callout.reports.review_parts import (
    SoundOf,
    beside,
    heard_told,
    notes_told,
    size_told,
    sound_told,
    today_told,
    tree_told,
    warnings_told,
)

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
    grown: bool = False
    """Whether its growth is out of bounds."""
    disagrees: str = ""
    """What another recorder read of the stem, with nobody's ruling."""

    @property
    def name(self) -> str:
        """Its entry, at a site with its recorder before it."""
        entry = str(self.reading.entry)
        return f"{self.recorder}:{entry}" if self.recorder else entry


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
                item, tree.past if tree else (), fate, ruled.get(item.entry),
                (today or {}).get(item.entry), about.get((item.plot, item.tag), ()),
            )
        )  # fmt: skip
    rows.sort(key=lambda row: (order.get((row.reading.plot, row.reading.tag), len(order)),
                               row.reading.plot, row.reading.tag, row.reading.entry))  # fmt: skip
    return rows


def _since(readings: Iterable[Reading]) -> dict[int, str]:
    """What became of readings that are no longer current."""
    found: dict[int, str] = {}
    for item in readings:
        if item.supersedes is not None:
            done = "undone" if item.void else "superseded"
            found[item.supersedes] = f"{done} by entry {item.entry}"
    return found


@dataclass(frozen=True)
class About:
    """What stands round the readings: the title, whose they are, what is left, notes elsewhere."""

    title: str
    whose: str
    made_at: datetime
    left: Sequence[str] = ()
    notes: Sequence[str] = ()
    """HTML of one note each."""


def review_page(about: About, rows: list[ReviewRow], sound_of: SoundOf) -> str:
    """The whole page as HTML."""
    heard_again = any(row.today is not None for row in rows)
    heads = ["Tree", "History", "Recorded", "Heard", "Warnings accepted", "Sound", "Ruling"]
    if heard_again:
        heads.insert(4, "Heard today")
    body = "\n".join(_row(row, sound_of, heard_again) for row in rows)
    plots = "".join(
        f"<option>{escape(name)}</option>" for name in dict.fromkeys(r.reading.plot for r in rows)
    )
    parts = {
        "policy": _POLICY,
        "title": escape(about.title),
        "whose": escape(about.whose),
        "made": escape(about.made_at.isoformat(sep=" ", timespec="minutes")),
        "left": _items("Left to measure", [escape(tree) for tree in about.left]),
        "notes": _items("Notes on plots and on trees without a reading", about.notes),
        "count": str(len(rows)),
        "plots": plots,
        "heads": "".join(f'<th scope="col">{head}</th>' for head in heads),
        "rows": body,
        "survey": escape(json.dumps(about.title, ensure_ascii=False)),
        "style": beside("review.css"),
        "script": beside("player.js") + beside("review.js"),
    }
    pieces = beside("review.html").split("@@")
    return "".join(parts[piece] if at % 2 else piece for at, piece in enumerate(pieces))


def _items(heading: str, items: Sequence[str]) -> str:
    if not items:
        return ""
    told = "".join(f"<li>{item}</li>" for item in items)
    return f"<details><summary>{heading}: {len(items)}</summary><ul>{told}</ul></details>"


def _row(row: ReviewRow, sound_of: SoundOf, heard_again: bool) -> str:
    reading = row.reading
    marks = {
        "plot": reading.plot,
        "warned": "yes" if reading.warnings else "",
        "ruled": "yes" if row.ruling else "",
        "stands": "" if row.since else "yes",
        "entry": row.name,
        "grown": "yes" if row.grown else "",
        "twice": "yes" if row.disagrees else "",
        "text": " ".join(_searched(row)).casefold(),
    }
    data = " ".join(f'data-{name}="{escape(text)}"' for name, text in marks.items())
    return f"<tr {data}>{''.join(_cells(row, sound_of, heard_again))}</tr>"


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


def _cells(row: ReviewRow, sound_of: SoundOf, heard_again: bool) -> Iterator[str]:
    yield f'<th scope="row">{tree_told(row.reading)}{notes_told(row.notes, sound_of)}</th>'
    yield f"<td>{history_cell(row.reading, row.past)}</td>"
    other = f'<small class="differs">{escape(row.disagrees)}</small>' if row.disagrees else ""
    yield f'<td class="size">{size_told(row.reading, row.since)}{other}</td>'
    where = f"<small>recorder {escape(row.where)}</small>" if row.where else ""
    yield f"<td>{heard_told(row.reading)}{where}</td>"
    if heard_again:
        yield f"<td>{today_told(row.reading, row.today)}</td>"
    yield f"<td>{warnings_told(row.reading)}</td>"
    yield f"<td>{sound_told(row.reading, sound_of)}</td>"
    yield f"<td>{_ruling(row)}</td>"


def _ruling(row: ReviewRow) -> str:
    reading = row.reading
    about = escape(f"tree {reading.tag}, entry {row.name}")
    told = f'<p class="ruled">{escape(row.ruling.told)}</p>' if row.ruling else ""
    choices = "".join(f"<option>{verdict}</option>" for verdict in VERDICTS if verdict != WITHDRAWN)
    return (
        f'{told}<select class="verdict" aria-label="Ruling on {about}">'
        f'<option value="">no ruling</option>{choices}</select>'
        f'<input class="value" aria-label="Amended value of {about}, in {reading.unit.value}" '
        f'placeholder="{reading.unit.value}" inputmode="decimal" hidden>'
        f'<input class="reason" aria-label="Reason for the ruling on {about}" '
        'placeholder="reason" maxlength="500" hidden>'
    )
