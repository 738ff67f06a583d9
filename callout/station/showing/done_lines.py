"""What a station did, as plain values for JSON lines: numbers as exact text."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from callout.core.events import Heard, KeepMemo, Save
from callout.station.done import Done
from callout.wording.wording import Wording


def reading_json(effect: Save) -> dict[str, Any]:
    """A saved reading as plain values for JSON, numbers as exact text."""
    reading = effect.reading
    return {
        "entry": reading.entry,
        "at": reading.at,
        "plot": reading.plot,
        "tag": reading.tag,
        "tag_lost": reading.tag_lost,
        "new_tag": reading.new_tag or None,
        "stem": reading.stem or None,
        "species": reading.species,
        "raw": _text(reading.raw),
        "recorded": _text(reading.value),
        "unit": reading.unit.value,
        "status": reading.status,
        "confidence": _text(reading.confidence),
        "audio": reading.audio,
        "who": reading.who,
        "warnings": list(reading.warnings),
        "supersedes": reading.supersedes,
        "void": reading.void,
    }


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def done_json(done: Done, wording: Wording) -> list[dict[str, Any]]:
    """One JSON object for each thing that happened, in order."""
    lines: list[dict[str, Any]] = []
    event = done.event
    if isinstance(event, Heard):
        lines.append(
            {
                "event": "heard",
                "at": event.at,
                "source": event.source,
                "words": event.words,
                "meanings": [meaning.as_json() for meaning in event.meanings],
                "problem": None if event.problem is None else wording.part(event.problem),
                "confidence": _text(event.confidence),
                "audio": event.audio,
                "engine_ms": round(done.engine_s * 1000, 1),
            }
        )
    for effect in done.effects:
        if isinstance(effect, Save):
            name = "undone" if effect.reading.void else "saved"
            lines.append({"event": name, **reading_json(effect)})
        elif isinstance(effect, KeepMemo):
            lines.append(
                {"event": "noted", "at": effect.at, "tag": effect.tag, "audio": effect.audio}
            )
        else:
            lines.append(
                {
                    "event": "said",
                    "tone": effect.tone,
                    "text": wording.shown(*effect.says),
                    "says": [one.as_json() for one in effect.says],
                }
            )
    return lines
