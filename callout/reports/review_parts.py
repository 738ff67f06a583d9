"""The parts of a reading on the pages for the office, as HTML: every text of it is escaped.

The one-file review page and the live page are made of these same parts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from importlib.resources import files
from typing import Any

from callout.core.checking.checks_plot import how_sure
from callout.core.model import Reading
from callout.reports.readings import note_told

SoundOf = Callable[[str], tuple[str, str]]
"""By a sound's hash: the address that a page plays it from, or nothing and why there is none."""


def beside(name: str) -> str:
    """A style or script that lies beside this module."""
    return (files("callout.reports") / name).read_text(encoding="utf-8")


def tree_told(reading: Reading) -> str:
    """Plot, tag and species; what became of the tag."""
    stem = f" stem {escape(reading.stem)}" if reading.stem else ""
    note = f"tag {reading.tag_note}; " if reading.tag_note else ""
    return (
        f"{escape(reading.plot)} <b>{escape(reading.tag_now)}</b>{stem}"
        f"<small>{escape(note + reading.species)}</small>"
    )


def size_told(reading: Reading, since: str = "") -> str:
    """The size or state as recorded, its entry, and what became of it since."""
    after = f"<small>{escape(since)}</small>" if since else ""
    return f"<span>{escape(reading.told)}</span><small>entry {reading.entry}</small>{after}"


def heard_told(reading: Reading) -> str:
    """The words, and who said them when, and how sure the recogniser was."""
    sure = "" if reading.confidence is None else f", {how_sure(reading.confidence)}"
    engine = f", {reading.engine}" if reading.engine else ""
    told = f"{reading.at[:19].replace('T', ' ')}, {reading.who}, {reading.source}{engine}{sure}"
    return f"{escape(reading.words)}<small>{escape(told)}</small>"


def today_told(reading: Reading, today: str | None) -> str:
    """What an engine hears today; told apart where that is something else."""
    if today is None:
        return ""
    if today == reading.words:
        return escape(today)
    return f'<span class="differs">{escape(today)}<small>differs</small></span>'


def warnings_told(reading: Reading) -> str:
    """What was warned of and accepted."""
    told = "".join(f"<li>{escape(item)}</li>" for item in reading.warnings)
    return f"<ul>{told}</ul>" if told else ""


def notes_told(notes: Sequence[Mapping[str, Any]], sound_of: SoundOf) -> str:
    """Each note about the tree: its words, or its sound to be played."""
    return "".join(f"<small>Note: {note(memo, sound_of)}</small>" for memo in notes)


def note(memo: Mapping[str, Any], sound_of: SoundOf) -> str:
    """One note."""
    play = played(memo["audio"], f"note {memo['entry']}", sound_of) if memo["audio"] else ""
    return f"{escape(note_told(memo))} {play}"


def sound_told(reading: Reading, sound_of: SoundOf) -> str:
    """Its sound to be played."""
    if reading.audio is None:
        return "<small>no sound</small>"
    return played(reading.audio, f"tree {reading.tag}, entry {reading.entry}", sound_of)


def played(audio: str, what: str, sound_of: SoundOf) -> str:
    """A button that plays it, or why there is none."""
    source, fault = sound_of(audio)
    if fault:
        return f"<small>{escape(fault)}</small>"
    return (
        f'<button type="button" class="play" aria-label="{escape(f"Play {what}")}" '
        f'data-sound="{escape(source)}">▶ play</button>'
    )
