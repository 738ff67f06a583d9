"""The scientific name of what a roster calls a tree: by the species tables, never by guessing.

A code or common name that no table knows has none; what looks like a Latin name is taken as one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from callout.core.species import Species

Named = Callable[[str], str]
_LATIN = re.compile(r"[A-Z][a-z]{2,}( [a-z][a-z-]{2,})( .*)?|[A-Z][a-z]{2,} spp?\.?")


def scientific_names(*tables: Iterable[Species]) -> Named:
    """What gives the scientific name of a text, '' for none; earlier ``tables`` go first."""
    known: dict[str, str] = {}
    latin: set[str] = set()
    for one in (one for table in tables for one in table):
        latin.add(one.scientific.casefold())
        for name in one.names:
            known.setdefault(name, one.scientific)

    def named(text: str) -> str:
        plain = " ".join(text.split())
        if plain.casefold() in latin:
            return plain  # as it was written, author and all
        found = known.get(plain.casefold(), "")
        return found or (plain if _LATIN.fullmatch(plain) else "")

    return named
