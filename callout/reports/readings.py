"""The readings as a table: what stands now for every stem, with where it came from.

Numbers are exact text. Cells that a spreadsheet would take for a formula are defused here, since
roster text may come from strangers.
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from callout.core.model import Reading
from callout.journal.reader import JournalReader, current
from callout.journal.rulings import Ruling, rulings

COLUMNS = (
    "plot", "tag", "stem", "species", "status", "raw", "raw_unit", "recorded", "unit", "time",
    "source", "engine", "confidence", "audio", "who", "warnings", "height_m", "words", "entry",
    "ruling",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def current_rows(reader: JournalReader) -> list[dict[str, Any]]:
    """One row a stem with a standing reading or status, in roster order, new trees after."""
    order = {
        (plot, tag): at
        for at, (plot, tag) in enumerate(
            (name, tag) for name, plot in reader.plots().items() for tag in plot.trees
        )
    }
    standing = current(reader.readings())
    standing.sort(key=lambda item: (order.get((item.plot, item.tag), len(order)), item.entry))
    ruled = rulings(reader)
    return [reading_cells(item, ruled.get(item.entry)) for item in standing]


def reading_cells(reading: Reading, ruling: Ruling | None = None) -> dict[str, Any]:
    """A reading as cells; ``time`` is UTC with its offset. A ruling stands beside, changes none."""
    return {
        "plot": safe_text(reading.plot),
        "tag": safe_text(reading.tag),
        "stem": reading.stem,
        "species": safe_text(reading.species),
        "status": reading.status.replace("_", " "),
        "raw": _number(reading.raw),
        "raw_unit": reading.raw_unit.value if reading.raw_unit else "",
        "recorded": _number(reading.value),
        "unit": reading.unit.value,
        "time": datetime.fromisoformat(reading.at).astimezone(UTC).isoformat(),
        "source": reading.source,
        "engine": reading.engine,
        "confidence": _number(reading.confidence),
        "audio": reading.audio or "",
        "who": safe_text(reading.who),
        "warnings": list(reading.warnings),
        "height_m": _number(reading.height_m),
        "words": safe_text(reading.words),
        "entry": reading.entry,
        "ruling": safe_text(ruling.told) if ruling else "",
    }


def _number(value: Decimal | None) -> str:
    return "" if value is None else str(value)


def safe_text(text: str) -> str:
    """Text that no spreadsheet runs and no terminal obeys: formulas quoted, controls dropped."""
    plain = "".join(char for char in text if char.isprintable())
    return f"'{plain}" if plain.startswith(_FORMULA) else plain
