"""Checks the sounds that a journal names against their hashes, and reports removed ones."""

from __future__ import annotations

import hashlib
from collections.abc import Container
from dataclasses import dataclass, field
from pathlib import Path

from callout.core.counted import counted
from callout.core.errors import CalloutError
from callout.journal.audio import is_digest
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.removals import KIND, ordered, sound_of, unnamed
from callout.journal.session_sound import spools
from callout.proof.findings import Fault
from callout.survey.guard import MOST_SOUND_BYTES, is_plain, opened

_PIECE = 1 << 20


@dataclass
class SoundReport:
    """How many sounds the journal names, how many were removed by order, and what is wrong."""

    named: int = 0
    removed: int = 0
    faults: list[Fault] = field(default_factory=list)
    notes: list[Fault] = field(default_factory=list)


class SoundCheck:
    """Takes every entry in order; then checks every sound once, at the first entry naming it."""

    def __init__(self, hashed: bool = True, absent: bool = False) -> None:
        """Check sounds.

        ``hashed`` False only looks whether files are there; ``absent`` True allows missing ones.
        """
        self._hashed, self._absent = hashed, absent
        # Keyed by the hash's 32 bytes, since a decade names hundreds of thousands.
        self._named: dict[bytes, int] = {}
        self._removed: dict[bytes, int] = {}
        self._nameless: list[tuple[int, str]] = []

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        if entry.kind == KIND:
            gone = [bytes.fromhex(digest) for digest in ordered(entry)]
            self._removed.update(dict.fromkeys(gone, entry.seq))
            return
        digest = sound_of(entry)
        if digest is None:
            return
        if not is_digest(digest):
            self._nameless.append((entry.seq, digest))
            return
        key = bytes.fromhex(digest)
        self._named.setdefault(key, entry.seq)
        self._removed.pop(key, None)  # stored again

    def report(self, folder: SurveyFolder) -> SoundReport:
        """Check the files."""
        found = SoundReport(len(self._named) + len(self._nameless))
        for seq, digest in self._nameless:
            told = f"its sound cannot be read: {digest[:80]!r} is not the SHA-256 of a sound"
            found.faults.append(Fault(seq, told))
        for key, seq in self._named.items():
            path = folder.audio.path(key.hex())
            order = self._removed.get(key)
            if order is not None:
                found.removed += 1
                if path.exists():
                    found.notes.append(_still_there(folder, seq, order))
            elif self._absent and not path.exists():
                continue
            elif fault := _sound_fault(path, self._hashed):
                found.faults.append(Fault(seq, fault))
        found.notes += _left_lying(folder, {key.hex() for key in self._named})
        return found


def _still_there(folder: SurveyFolder, seq: int, order: int) -> Fault:
    told = f"its sound was to be removed by entry {order} and is still there"
    return Fault(seq, f"{told}: 'callout erase {folder.path}' removes it")


def _left_lying(folder: SurveyFolder, named: Container[str]) -> list[Fault]:
    """Files left by crashes: not a fault, but they may hold somebody's voice."""
    audio, told = folder.path / "audio", []
    lying = len(unnamed(audio, named))
    if lying:
        which = "a sound" if lying == 1 else f"{lying} sounds"
        told.append(Fault(0, f"{which} that no entry names: a crash came before"))
    under_way = len(list(spools(audio)))
    if under_way:
        told.append(
            Fault(0, f"{counted(under_way, 'session sound')} under way, or left so by a crash")
        )
    return told


def _sound_fault(path: Path, hashed: bool) -> str:
    try:
        if not hashed:
            return "" if is_plain(path) else f"its sound is missing: {path}"
        found = _sha256(path)
    except FileNotFoundError:
        return f"its sound is missing: {path}"
    except (CalloutError, OSError) as error:
        return f"its sound cannot be read: {error}"
    return "" if found == path.stem else f"its sound was altered: {path}"


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with opened(path, MOST_SOUND_BYTES) as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()
