"""The scientific name of a tree as named in the roster: from the species tables, never guessed.

A code or common name that no table lists has none; what looks like a Latin name is taken as one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from callout.core.species import Species

Named = Callable[[str], str]
_LATIN = re.compile(r"[A-Z][a-z]{2,}( [a-z][a-z-]{2,})( .*)?|[A-Z][a-z]{2,} spp?\.?")


def scientific_names(*tables: Iterable[Species]) -> Named:
    """A function from a text to its scientific name ('' for none); earlier ``tables`` win."""
    known: dict[str, str] = {}
    latin: set[str] = set()
    for one in (one for table in tables for one in table):
        latin.add(one.scientific.casefold())
        for name in one.names:
            known.setdefault(name, one.scientific)

    def named(text: str) -> str:
        plain = " ".join(text.split())
        if plain.casefold() in latin:
            return plain  # as it was written, with its author
        found = known.get(plain.casefold(), "")
        return found or (plain if _LATIN.fullmatch(plain) else "")

    return named
