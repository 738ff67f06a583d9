"""Every kind of journal entry that this version knows, and which program wrote a journal.

A kind that is not here came from a newer version, or from no version at all: nobody guesses what
it would have changed, so a journal that holds one is refused whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from callout import __version__
from callout.core.errors import StorageError
from callout.journal.codec import KINDS as EVENTS

OTHERS = frozenset({
    "drawn", "earlier", "noted", "office", "remeasures", "roster", "ruling", "sealed",
    "session_sound", "settings", "signer", "sound_removed",
})  # fmt: skip
KNOWN = frozenset(EVENTS) | OTHERS

TELLING = ("settings", "office")
"""Kinds whose body tells under ``program`` which version wrote what follows."""
PROGRAM = "program"


def with_program(kind: str, body: Mapping[str, Any]) -> dict[str, Any]:
    """The body, telling this version where entries of its kind do."""
    return {**body, PROGRAM: __version__} if kind in TELLING else dict(body)


def written_by(body: Mapping[str, Any]) -> str:
    """The version that a telling entry's body names; '' for one from before they told."""
    told = body.get(PROGRAM, "")
    return told if isinstance(told, str) else ""


def refuse_unknown(kinds: Iterable[str], where: str, program: str) -> None:
    """Raises StorageError where one of ``kinds`` is not known here."""
    strange = sorted({str(kind) for kind in kinds} - KNOWN)
    if strange:
        raise StorageError(
            f"{where}: an entry of a kind that this callout {__version__} does not know, "
            f"{strange[0][:40]!r}; it was written by {told_program(program)}: use that version, "
            "or 'callout verify' to see whether it was altered"
        )


def told_program(program: str) -> str:
    """A version in words, as far as it is known."""
    return f"callout {program[:40]}" if program else "a version that did not tell its name"
