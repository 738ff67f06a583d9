"""Every kind of journal entry that this version knows, and which program wrote a journal.

An unknown kind came from a newer version, or from no version at all: its effect cannot be guessed,
so a journal that holds one is refused whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from callout import __version__
from callout.core.errors import StorageError
from callout.journal.codec import KINDS as EVENTS

OTHERS = frozenset(
    {
        "drawn",
        "earlier",
        "noted",
        "office",
        "remeasures",
        "roster",
        "ruling",
        "sealed",
        "session_sound",
        "settings",
        "signer",
        "sound_removed",
    }
)
KNOWN = frozenset(EVENTS) | OTHERS

TELLING = ("settings", "office")
"""Kinds whose body says under ``program`` which version wrote the entries that follow."""
PROGRAM = "program"


def with_program(kind: str, body: Mapping[str, Any]) -> dict[str, Any]:
    """The body, with this version added if entries of its kind carry it."""
    return {**body, PROGRAM: __version__} if kind in TELLING else dict(body)


def written_by(body: Mapping[str, Any]) -> str:
    """The version that an entry's body names; '' for one from before versions were recorded."""
    told = body.get(PROGRAM, "")
    return told if isinstance(told, str) else ""


def refuse_unknown(kinds: Iterable[str], where: str, program: str) -> None:
    """Raises StorageError if one of ``kinds`` is not known here."""
    strange = sorted({str(kind) for kind in kinds} - KNOWN)
    if strange:
        raise StorageError(
            f"{where}: an entry of a kind that this callout {__version__} does not know, "
            f"{strange[0][:40]!r}; it was written by {told_program(program)}: use that version, "
            "or 'callout verify' to see whether it was altered"
        )


def told_program(program: str) -> str:
    """A version in words."""
    return f"callout {program[:40]}" if program else "a version that did not tell its name"
