"""People's names as people type them: case and spaces make no other person. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from callout.core.errors import OperatorError


def plain_name(text: str) -> str:
    """What two spellings of one name have in common: ``r. v.`` is ``R.V.``."""
    return "".join(text.split()).casefold()


def refuse_unknown_person(asked: str, known: Iterable[str]) -> None:
    """Raises OperatorError, saying who there is, where nobody of ``known`` is called so."""
    names = list(dict.fromkeys(name for name in known if name))
    if plain_name(asked) not in map(plain_name, names):
        told = ", ".join(names) or "nobody"
        raise OperatorError(f"nobody called {asked!r} worked here: there is {told}")
