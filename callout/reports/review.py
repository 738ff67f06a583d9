"""The review page: one self-contained file for the office, to see, hear and rule on readings.

Sounds are inside the page; it needs no network. It changes nothing: its rulings are exported as a
file for ``callout rule --import``. Style and behaviour are in ``review.css`` and ``review.js``
beside this file; hearing sounds again is not done here.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from importlib.resources import files
from typing import Any

from callout.core.model import PastMeasurement, Reading
from callout.journal.reader import JournalReader, current
from callout.journal.rulings import VERDICTS, Ruling, rulings
from callout.reports.readings import note_told, notes_by_tree
from callout.reports.review_history import history_cell

SoundOf = Callable[[str], bytes | str]
"""The FLAC of a hash, or why there is none."""

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


def review_page(title: str, made_at: datetime, rows: list[ReviewRow], sound_of: SoundOf) -> str:
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
        "title": escape(title),
        "made": escape(made_at.isoformat(sep=" ", timespec="minutes")),
        "count": str(len(rows)),
        "plots": plots,
        "heads": "".join(f'<th scope="col">{head}</th>' for head in heads),
        "rows": body,
        "survey": escape(json.dumps(title, ensure_ascii=False)),
        "style": _beside("review.css"),
        "script": _beside("review.js"),
    }
    pieces = _beside("review.html").split("@@")
    return "".join(parts[piece] if at % 2 else piece for at, piece in enumerate(pieces))


def _beside(name: str) -> str:
    return (files("callout.reports") / name).read_text(encoding="utf-8")


def _row(row: ReviewRow, sound_of: SoundOf, heard_again: bool) -> str:
    reading = row.reading
    marks = {
        "plot": reading.plot,
        "warned": "yes" if reading.warnings else "",
        "ruled": "yes" if row.ruling else "",
        "stands": "" if row.since else "yes",
        "entry": str(reading.entry),
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
    reading = row.reading
    stem = f" stem {escape(reading.stem)}" if reading.stem else ""
    note = f"tag {reading.tag_note}; " if reading.tag_note else ""
    yield (
        f'<th scope="row">{escape(reading.plot)} <b>{escape(reading.tag_now)}</b>{stem}'
        f"<small>{escape(note + reading.species)}</small>{_notes(row, sound_of)}</th>"
    )
    yield f"<td>{history_cell(reading, row.past)}</td>"
    since = f"<small>{escape(row.since)}</small>" if row.since else ""
    entry = f"<small>entry {reading.entry}</small>"
    yield f'<td class="size"><span>{escape(reading.told)}</span>{entry}{since}</td>'
    sure = "" if reading.confidence is None else f", confidence {reading.confidence}"
    told = f"{reading.at[:19].replace('T', ' ')}, {reading.who}, {reading.source}{sure}"
    yield f"<td>{escape(reading.words)}<small>{escape(told)}</small></td>"
    if heard_again:
        yield f"<td>{escape(row.today or '')}</td>"
    warned = "".join(f"<li>{escape(item)}</li>" for item in reading.warnings)
    yield f"<td>{f'<ul>{warned}</ul>' if warned else ''}</td>"
    yield f"<td>{_sound(reading, sound_of)}</td>"
    yield f"<td>{_ruling(row)}</td>"


def _notes(row: ReviewRow, sound_of: SoundOf) -> str:
    """Each note about the tree: its words, or its sound to be played."""
    told = []
    for memo in row.notes:
        play = ""
        if memo["audio"]:
            play = _played(memo["audio"], f"note {memo['entry']}", sound_of)
        told.append(f"<small>Note: {escape(note_told(memo))} {play}</small>")
    return "".join(told)


def _sound(reading: Reading, sound_of: SoundOf) -> str:
    if reading.audio is None:
        return "<small>none</small>"
    return _played(reading.audio, f"tree {reading.tag}, entry {reading.entry}", sound_of)


def _played(audio: str, what: str, sound_of: SoundOf) -> str:
    flac = sound_of(audio)
    if isinstance(flac, str):
        return f"<small>{escape(flac)}</small>"
    sound = base64.b64encode(flac).decode("ascii")
    name = escape(f"Play {what}")
    return (
        f'<button type="button" class="play" aria-label="{name}" '
        f'data-sound="data:audio/flac;base64,{sound}">▶ play</button>'
    )


def _ruling(row: ReviewRow) -> str:
    reading = row.reading
    about = escape(f"tree {reading.tag}, entry {reading.entry}")
    told = f'<p class="ruled">{escape(row.ruling.told)}</p>' if row.ruling else ""
    choices = "".join(f"<option>{verdict}</option>" for verdict in VERDICTS)
    return (
        f'{told}<select class="verdict" aria-label="Ruling on {about}">'
        f'<option value="">no ruling</option>{choices}</select>'
        f'<input class="value" aria-label="Amended value of {about}, in {reading.unit.value}" '
        f'placeholder="{reading.unit.value}" inputmode="decimal" hidden>'
        f'<input class="reason" aria-label="Reason for the ruling on {about}" '
        'placeholder="reason" maxlength="500" hidden>'
    )
