"""What the same callouts would have given with another graduation, or another grammar.

The journal's events are fed to a fresh session whose settings differ in that one thing; nothing is
written, and what was saved stays as it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from callout.core.errors import CalloutError
from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.core.saying import Saying
from callout.grammar.language import Language
from callout.grammar.parser import parse_words
from callout.grammar.scope import Scope
from callout.journal.codec import canonical
from callout.journal.reader import Entry
from callout.lookback.replay import Moment, moments


def with_graduation(entries: Iterable[Entry], graduation: Decimal) -> Iterator[Entry]:
    """The journal as if every tape had had this graduation, in each plot's own unit."""
    for entry in entries:
        if entry.kind == "settings":
            content = entry.content
            for plot in content["plots"].values():
                plot["graduation"] = str(graduation)
            entry = replace(entry, body=canonical(content))
        yield entry


def saved_otherwise(entries: Iterable[Entry], graduation: Decimal) -> dict[int, Reading | None]:
    """For each callout's entry the reading it would have become; None if it would not be saved."""
    return {item.entry: item.saved for item in moments(with_graduation(entries, graduation))}


@dataclass(frozen=True)
class Read:
    """What recorded words mean in another grammar; ``problem`` says why they mean nothing."""

    meanings: tuple[Meaning, ...]
    problem: Saying | None = None


def read_otherwise(moment: Moment, language: Language, scope: Scope) -> Read:
    """The recorded words of a callout, parsed with another grammar."""
    try:
        parsed = parse_words(language.full, moment.heard.words, scope)
    except CalloutError as error:
        return Read((), error.saying)
    return Read(parsed.meanings, parsed.problem)
