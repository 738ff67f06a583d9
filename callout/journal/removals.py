"""Orders to remove sound: entries of the journal, made before any file is deleted.

The readings and every entry stay; the named sounds are known from then on to be removed by order
and not missing. Which sounds to name is decided elsewhere.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError
from callout.journal.audio import AudioStore, is_digest
from callout.journal.reader import Entry
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.survey.files import storage_errors, sync_folder
from callout.survey.guard import is_plain

KIND = "sound_removed"
_WITH_SOUND = ("heard", SESSION_SOUND)


def sound_of(entry: Entry) -> str | None:
    """The hash of the sound that an entry names; None if it names none, or is damaged."""
    if entry.kind not in _WITH_SOUND:
        return None
    try:
        digest = entry.content.get("audio")
    except (CalloutError, TypeError):
        return None  # the hash chain reports that this entry was altered
    return digest if isinstance(digest, str) else None


def removal_body(sounds: Sequence[str], reason: str, who: str) -> dict[str, Any]:
    """An order as a journal entry's body."""
    return {"sounds": list(sounds), "reason": reason, "who": who}


def removed_in(entries: Iterable[Entry]) -> dict[str, int]:
    """Sounds that were ordered to be removed, each with its order's entry.

    A sound that a later entry names again was stored anew, and is left out.
    """
    found: dict[str, int] = {}
    for entry in entries:
        if entry.kind == KIND:
            found.update(dict.fromkeys(ordered(entry), entry.seq))
        else:
            digest = sound_of(entry)
            if digest is not None:
                found.pop(digest, None)
    return found


def sounds_left(entries: Sequence[Entry]) -> list[str]:
    """Every sound that entries name and no order removed, each once, in order of first naming."""
    gone = removed_in(entries)
    named = dict.fromkeys(digest for entry in entries if (digest := sound_of(entry)))
    return [digest for digest in named if digest not in gone]


def ordered(entry: Entry) -> Iterator[str]:
    """The sounds that an order names."""
    try:
        sounds = entry.content.get("sounds", ())
    except CalloutError:
        return
    yield from (item for item in sounds if isinstance(item, str) and is_digest(item))


def carry_out(sounds: AudioStore, removed: Mapping[str, int]) -> int:
    """Delete the files that were ordered to be removed; returns how many there still were.

    Deletes plain files only; the store must not be a link. Raises StorageError; calling it again
    then deletes the rest.
    """
    sounds.refuse_linked()
    paths = [sounds.path(digest) for digest in removed]
    there = [path for path in paths if is_plain(path)]
    for path in there:
        with storage_errors(f"cannot remove {path}"):
            path.unlink()
    if there:
        sync_folder(there[0].parent)
    return len(there)


def named_in(entries: Iterable[Entry]) -> set[str]:
    """Every sound that the entries name, including removed ones."""
    return {digest for entry in entries if (digest := sound_of(entry)) is not None}


def unnamed(folder: Path, named: Container[str]) -> list[str]:
    """Sounds in the store that no entry names: left by a crash before their entry was written."""
    return sorted(path.stem for path in folder.glob("*.flac") if path.stem not in named)
