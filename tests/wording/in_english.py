"""What a saying, an effect or an error tells, in English: the tests' own readers."""

from __future__ import annotations

from collections.abc import Iterable

from callout.core.errors import CalloutError
from callout.core.events import Say
from callout.core.saying import Saying
from callout.wording.language_files import english

WORDS = english()


def told(said: Say | Saying | Iterable[Saying]) -> str:
    """As sentences."""
    if isinstance(said, Say):
        return WORDS.shown(*said.says)
    return WORDS.shown(said) if isinstance(said, Saying) else WORDS.shown(*said)


def part(said: Saying | CalloutError | None) -> str:
    """As words that are no sentence; nothing for nothing."""
    if said is None:
        return ""
    return WORDS.part(said.saying if isinstance(said, CalloutError) else said)
