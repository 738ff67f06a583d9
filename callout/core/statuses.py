"""What a tree's state is called: the words that tables write, and the one word of ours for each.

Whole words only (common practice). What an abbreviation stands for differs from one survey to the
next, so that only a person can say it.
"""

from __future__ import annotations

_WORDS = {
    "live": ("live", "alive", "living"),
    "dead": ("dead",),
    "dead standing": ("dead standing", "standing dead", "snag"),
    "dead down": ("dead down", "down", "dead fallen", "fallen"),
    "cut": ("cut", "harvested", "removed", "felled"),
    "missing": ("missing",),
    "not found": ("not found", "notfound"),
}
STATUS_WORDS = {word: status for status, words in _WORDS.items() for word in words}


def status_named(text: str) -> str:
    """Our word for a state, whatever its case and marks; '' for none that is known.

    ``dead`` is one of them, though it leaves open whether the tree stands.
    """
    plain = text.strip().casefold().replace("_", " ").replace("-", " ")
    return STATUS_WORDS.get(" ".join(plain.split()), "")


def known_statuses() -> str:
    """Those that may be written, for a message."""
    return ", ".join(_WORDS)
