"""The names of a tree's state: the words that tables use, mapped to our own.

Whole words only (common practice): what an abbreviation stands for differs between surveys, so a
person must say it.
"""

from __future__ import annotations

from enum import StrEnum


class Status(StrEnum):
    """A tree's state by its name in journals and grammars; ``words`` is its name in tables."""

    LIVE = "live"
    DEAD_STANDING = "dead_standing"
    DEAD_DOWN = "dead_down"
    CUT = "cut"
    MISSING = "missing"
    NOT_FOUND = "not_found"

    @property
    def words(self) -> str:
        """The same in plain words."""
        return in_words(self)


def in_words(status: str) -> str:
    """A status by its name in a journal, in plain words; '' stays ''."""
    return status.replace("_", " ")


_WORDS = {
    Status.LIVE.words: ("live", "alive", "living"),
    "dead": ("dead",),
    Status.DEAD_STANDING.words: ("dead standing", "standing dead", "snag"),
    Status.DEAD_DOWN.words: ("dead down", "down", "dead fallen", "fallen"),
    Status.CUT.words: ("cut", "harvested", "removed", "felled"),
    Status.MISSING.words: ("missing",),
    Status.NOT_FOUND.words: ("not found", "notfound"),
}
STATUS_WORDS = {word: status for status, words in _WORDS.items() for word in words}


def status_named(text: str) -> str:
    """Our word for a state, ignoring case and punctuation; '' if it is not known.

    ``dead`` is one of them, although it leaves open whether the tree stands.
    """
    return STATUS_WORDS.get(plain_status(text), "")


def plain_status(text: str) -> str:
    """A state as somebody wrote it, in small letters and without marks between its words."""
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def known_statuses() -> str:
    """The states that may be written, for a message."""
    return ", ".join(_WORDS)
