"""A moment of the journal in words for people, and as plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from callout.core.checking.checks_plot import how_sure
from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.lookback.rehear import SEVERITY, Again
from callout.lookback.replay import Moment
from callout.wording.language_files import english
from callout.wording.wording import Wording


def lines_of(moment: Moment, wording: Wording) -> Iterator[str]:
    """The moment in a few lines: what was heard, its meaning, the answer, and what became of it."""
    heard = moment.heard
    yield f"entry {moment.entry}  {moment.at}  plot {moment.plot}  {moment.who}  {heard.source}"
    sure = "" if heard.confidence is None else f"  ({heard.engine}: {how_sure(heard.confidence)})"
    yield f"  heard      {plain(heard.words)}{sure}"
    for meaning in heard.meanings:
        yield f"  meaning    {meaning_told(meaning)}"
    if heard.problem:
        yield f"  problem    {plain(wording.part(heard.problem))}"
    for said in moment.said:
        yield f"  answered   {plain(wording.shown(*said))}"
    if moment.removed_by is not None:
        yield f"  sound      removed by order, entry {moment.removed_by}"
    elif heard.audio:
        yield f"  sound      audio/{heard.audio}.flac"
    yield from _fate(moment)


def _fate(moment: Moment) -> Iterator[str]:
    saved = moment.saved
    if moment.memo:
        yield "  kept       as a note"
    if moment.undoes is not None:
        yield f"  undid      entry {moment.undoes}"
    if saved is not None:
        warned = f", accepted: {', '.join(saved.warnings)}" if saved.warnings else ""
        yield f"  saved      entry {saved.entry}: tree {_tree(saved)} {saved.told}{warned}"
    if moment.superseded_by is not None:
        yield f"  superseded by entry {moment.superseded_by}"
    if moment.undone_by is not None:
        yield f"  undone     by entry {moment.undone_by}"
    for ruling in moment.rulings:
        yield f"  ruled      entry {ruling.entry}: {plain(ruling.told)}"


def _tree(reading: Reading) -> str:
    note = f" (tag {reading.tag_note})" if reading.tag_note else ""
    return f"{reading.tag_now}{note}"


def meaning_told(meaning: Meaning) -> str:
    """A meaning's parts in one line."""
    parts = meaning.as_json()
    kind = parts.pop("kind")
    return " ".join([kind, *(f"{name} {value}" for name, value in parts.items() if value)])


def plain(text: str) -> str:
    """Text without controls that a terminal would obey."""
    return "".join(char for char in text if char.isprintable())


def moment_json(moment: Moment) -> dict[str, Any]:
    """A moment as plain values; numbers as exact text."""
    heard, saved = moment.heard, moment.saved
    return {
        "entry": moment.entry,
        "at": moment.at,
        "plot": moment.plot,
        "trees": sorted(moment.tags),
        "who": moment.who,
        "source": heard.source,
        "words": heard.words,
        "meanings": [meaning.as_json() for meaning in heard.meanings],
        "problem": None if heard.problem is None else english().part(heard.problem),
        "engine": heard.engine,
        "confidence": None if heard.confidence is None else str(heard.confidence),
        "audio": heard.audio,
        "sound_removed_by": moment.removed_by,
        "answered": [english().shown(*said) for said in moment.said],
        "saved": None if saved is None else saved.entry,
        "recorded": None if saved is None or saved.value is None else str(saved.value),
        "warnings": list(saved.warnings) if saved else [],
        "undoes": moment.undoes,
        "superseded_by": moment.superseded_by,
        "undone_by": moment.undone_by,
        "rulings": [ruling.told for ruling in moment.rulings],
    }


def again_json(again: Again) -> dict[str, Any]:
    """A moment heard again as plain values."""
    return {
        "entry": again.moment.entry,
        "severity": again.severity,
        "difference": SEVERITY[again.severity],
        "then": again.moment.heard.words,
        "now": again.words,
        "meanings": [meaning.as_json() for meaning in again.meanings],
        "confidence": again.confidence,
        "fault": again.fault or None,
        "saved": again.moment.saved.entry if again.moment.saved else None,
    }
