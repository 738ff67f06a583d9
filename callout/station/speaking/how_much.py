"""How much the voice says, and how fast: by the settings, and by what a person has done before.

Pure. What the words are is the wording's; when they are spoken is ``spoken_echo``'s.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import replace

from callout.survey.config import Speaking
from callout.wording.wording import Length

BRIEF_WORDS_A_MINUTE = 230
Worked = tuple[str, str]
"""A plot, and the day (ISO 8601) on which a person saved readings there."""


def knows_it(before: Set[Worked], here: Worked) -> bool:
    """Whether a person who saved readings ``before`` has had the whole echo in a first plot.

    The first plot is over once another is worked in, or on another day.
    """
    return bool(before - {here})


def is_new_to(before: Set[Worked], here: Worked) -> bool:
    """Whether the few words begin ``here``: nothing was saved under them yet."""
    return len(before) == 1 and knows_it(before, here)


def settled(speaking: Speaking, knows: bool) -> Speaking:
    """The settings with ``auto`` decided."""
    if speaking.echo != "auto":
        return speaking
    return replace(speaking, echo="brief" if knows else "full")


def length_of(speaking: Speaking) -> Length:
    """How much of each saying is spoken."""
    return Length.FULL if speaking.echo in ("auto", "full") else Length.BRIEF


def rate_of(speaking: Speaking) -> int:
    """Words a minute: few words are understood as well a little faster (our assumption)."""
    if length_of(speaking) is Length.FULL:
        return speaking.words_a_minute
    return max(speaking.words_a_minute, BRIEF_WORDS_A_MINUTE)
