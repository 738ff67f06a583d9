"""The readings as a table: the current one of every stem, with its origin.

Numbers are exact text. Texts are shown without control characters, since roster text may come from
strangers; for CSV, cells that a spreadsheet would take for a formula are guarded too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from callout.core.model import Reading
from callout.core.unseen import dropped
from callout.crews.place import Place
from callout.crews.twice import disagreements, reading_told
from callout.journal.rulings import Ruling
from callout.reports.quality.agreement import Tolerance
from callout.reports.spreadsheets import guarded

COLUMNS = (
    "plot",
    "tag",
    "stem",
    "species",
    "status",
    "raw",
    "raw_unit",
    "recorded",
    "unit",
    "time",
    "source",
    "engine",
    "confidence",
    "audio",
    "who",
    "warnings",
    "height_m",
    "words",
    "entry",
    "ruling",
    "tag_note",
    "notes",
)
# For a united site also: whose reading it is, and another recorder's reading if the two disagree.
SITE_COLUMNS = (*COLUMNS, "recorder", "disagrees")


def disagreeing(place: Place) -> dict[tuple[str, int], str]:
    """What others read, by the recorder and entry of each reading that differs, nobody having

    ruled.
    """
    found: dict[tuple[str, int], list[str]] = {}
    for pair in disagreements(place.standing, Tolerance().allowed):
        for one, other in ((pair.first, pair.second), (pair.second, pair.first)):
            words = f"{reading_told(other)}: {pair.about}"
            found.setdefault((one.recorder, one.reading.entry), []).append(words)
    return {key: "; ".join(words) for key, words in found.items()}


def current_rows(place: Place) -> list[dict[str, Any]]:
    """One row a stem with a standing reading or status, in roster order, new trees after.

    At a united site one row a recorder that read it, told what another one read where they differ.
    """
    order = {
        (plot, tag): at
        for at, (plot, tag) in enumerate(
            (name, tag) for name, plot in place.plots.items() for tag in plot.trees
        )
    }
    standing = sorted(
        place.standing,
        key=lambda item: (
            order.get((item.reading.plot, item.reading.tag), len(order)),
            item.reading.entry if not place.united else 0,
        ),
    )
    about = notes_by_tree(place.memos)
    rows = [
        reading_cells(
            item.reading, item.ruling, about.get((item.reading.plot, item.reading.tag), ())
        )
        for item in standing
    ]
    if place.united:
        differing = disagreeing(place)
        for row, item in zip(rows, standing, strict=True):
            row["recorder"] = item.recorder
            row["disagrees"] = differing.get((item.recorder, item.reading.entry), "")
    return rows


Notes = Mapping[tuple[str, str], Sequence[Mapping[str, Any]]]


def notes_by_tree(memos: Iterable[Mapping[str, Any]]) -> Notes:
    """Notes by plot and roster tag ('' for those about the plot), oldest first."""
    found: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for memo in memos:
        found.setdefault((memo["plot"], memo["tag"] or ""), []).append(memo)
    return found


def note_told(memo: Mapping[str, Any]) -> str:
    """A note as typed; a spoken one is only its sound, since nobody wrote it down."""
    return f"spoken, sound {memo['audio'][:12]}" if memo["audio"] else dropped(memo["words"])


def notes_elsewhere(place: Place) -> list[str]:
    """Notes about a plot, or about a tree without a reading: no row of the table has them."""
    rows = {(item.reading.plot, item.reading.tag) for item in place.standing}
    return [
        f"note about {f'tree {dropped(tag)} of ' if tag else ''}plot {dropped(plot)}: "
        f"{note_told(memo)}"
        for (plot, tag), memos in notes_by_tree(place.memos).items()
        if (plot, tag) not in rows
        for memo in memos
    ]


def csv_cells(row: dict[str, Any]) -> dict[str, str]:
    """A row's cells for CSV: lists joined into one cell, and formulas guarded."""
    return {name: guarded(_text(cell)) for name, cell in row.items()}


def _text(cell: Any) -> str:
    return "; ".join(cell) if isinstance(cell, list) else str(cell)


def reading_cells(
    reading: Reading, ruling: Ruling | None = None, notes: Sequence[Mapping[str, Any]] = ()
) -> dict[str, Any]:
    """A reading as cells; ``time`` is UTC with its offset.

    A ruling is shown beside it and changes nothing. ``notes`` are those about its tree.
    """
    return {
        "plot": dropped(reading.plot),
        "tag": dropped(reading.tag_now),
        "stem": reading.stem,
        "species": dropped(reading.species),
        "status": reading.status_told,
        "raw": _number(reading.raw),
        "raw_unit": reading.raw_unit.value if reading.raw_unit else "",
        "recorded": _number(reading.value),
        "unit": reading.unit.value,
        "time": datetime.fromisoformat(reading.at).astimezone(UTC).isoformat(),
        "source": reading.source,
        "engine": reading.engine,
        "confidence": _number(reading.confidence),
        "audio": reading.audio or "",
        "who": dropped(reading.who),
        "warnings": list(reading.warnings),
        "height_m": _number(reading.height_m),
        "words": dropped(reading.words),
        "entry": reading.entry,
        "ruling": dropped(ruling.told) if ruling else "",
        "tag_note": dropped(reading.tag_note),
        "notes": [note_told(memo) for memo in notes],
    }


def _number(value: Decimal | None) -> str:
    return "" if value is None else str(value)
