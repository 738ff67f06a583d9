"""Holds the sounds that a journal names against their names, and tells which went by order."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field

from callout.core.errors import CalloutError
from callout.journal.faults import Fault
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.removals import removed_in, sound_of, unnamed
from callout.journal.session_sound import spools


@dataclass
class SoundReport:
    """How many sounds the journal names, how many of them went by order, and what is wrong."""

    named: int = 0
    removed: int = 0
    faults: list[Fault] = field(default_factory=list)
    notes: list[Fault] = field(default_factory=list)


def check_sounds(folder: SurveyFolder, entries: Sequence[Entry]) -> SoundReport:
    """Every sound once, at the first entry that names it."""
    report, removed = SoundReport(), removed_in(entries)
    seen: set[str] = set()
    for entry in entries:
        digest = sound_of(entry)
        if digest is None or digest in seen:
            continue
        seen.add(digest)
        if digest in removed:
            _check_removed(report, folder, entry, digest, removed[digest])
            continue
        fault = _sound_fault(folder, digest)
        if fault:
            report.faults.append(Fault(entry.seq, fault))
    report.named = len(seen)
    report.notes += _left_lying(folder, entries)
    return report


def _check_removed(
    report: SoundReport, folder: SurveyFolder, entry: Entry, digest: str, order: int
) -> None:
    report.removed += 1
    if folder.audio.path(digest).exists():
        told = f"its sound was to be removed by entry {order} and is still there"
        report.notes.append(Fault(entry.seq, f"{told}: 'callout erase {folder.path}' removes it"))


def _left_lying(folder: SurveyFolder, entries: Sequence[Entry]) -> list[Fault]:
    """What crashes left; it breaks nothing, but it may hold somebody's voice."""
    audio, told = folder.path / "audio", []
    lying = len(unnamed(audio, entries))
    if lying:
        told.append(Fault(0, f"{lying} sounds that no entry names: a crash came before theirs"))
    under_way = len(list(spools(audio)))
    if under_way:
        told.append(Fault(0, f"{under_way} session sounds under way, or left so by a crash"))
    return told


def _sound_fault(folder: SurveyFolder, digest: str) -> str:
    try:
        path = folder.audio.path(digest)
        found = hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return f"its sound is missing: {path}"
    except (CalloutError, OSError) as error:
        return f"its sound cannot be read: {error}"
    return "" if found == digest else f"its sound was altered: {path}"
