"""Narrows what can be heard to one plot: its tags, and sizes a tree there can have.

The limits are the plot's, the same for every tree; a tree's own history takes no part.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from decimal import Decimal

from callout.core.meaning import Meaning
from callout.core.units import Unit, convert
from callout.grammar.automaton import Automaton, narrowed

_NO_LIMIT = Decimal(1000)


@dataclass(frozen=True)
class Scope:
    """The plot's tags (None: any tag) and its plausible sizes, ends included, in ``unit``."""

    tags: frozenset[str] | None = None
    smallest: Decimal = Decimal("0.1")
    largest: Decimal = Decimal(200)
    unit: Unit | None = None
    implied_point: bool = True

    def fits(self, meaning: Meaning) -> bool:
        """Whether ``meaning`` names a tree of the plot (or a new one) and a size trees have."""
        return self._tag_fits(meaning) and self.size_fits(meaning)

    def size_fits(self, meaning: Meaning) -> bool:
        """Whether the size said, if any, lies in the plot's range."""
        if meaning.value is None:
            return True
        if meaning.implied and not self.implied_point:
            return False
        value = meaning.value
        if meaning.unit and self.unit:
            value = convert(value, meaning.unit, self.unit)
        return self.smallest <= value <= self.largest

    def _tag_fits(self, meaning: Meaning) -> bool:
        if meaning.tag is None or self.tags is None:
            return True
        return (meaning.tag in self.tags) != (meaning.kind == "new")


_Watched = tuple[str, str]


class ScopeWatcher:
    """Watches emitted tokens so that only the scope's tags and sizes pass (see ``narrowed``)."""

    def __init__(self, scope: Scope) -> None:
        self._scope = scope
        tags = scope.tags if scope.tags is not None else frozenset()
        self._prefixes = {tag[:length] for tag in tags for length in range(1, len(tag) + 1)}
        self._largest = int(min(scope.largest, _NO_LIMIT))

    def start(self) -> Hashable:
        return ("", "")

    def step(self, state: Hashable, token: str) -> Hashable | None:
        assert isinstance(state, tuple)
        slot, said = state
        if token == "@redo":
            return (slot, "") if said else None
        if token.startswith("@"):
            if not self._complete(slot, said):
                return None
            name = token[1:].partition(":")[0]
            return (name if name in ("tag", "size", "new") else "", "")
        return self._extend(slot, said, token)

    def ends(self, state: Hashable) -> bool:
        assert isinstance(state, tuple)
        return self._complete(*state)

    def _complete(self, slot: str, said: str) -> bool:
        return slot != "tag" or self._scope.tags is None or said in self._scope.tags

    def _extend(self, slot: str, said: str, token: str) -> _Watched | None:
        if slot == "tag" and self._scope.tags is not None:
            longer = said + token
            return (slot, longer) if longer in self._prefixes else None
        if slot == "size":
            return self._extend_size(said, token)
        return (slot, "")

    def _extend_size(self, said: str, token: str) -> _Watched | None:
        if token == "~" and not self._scope.implied_point:
            return None
        if said.startswith("."):
            return ("size", ".")
        whole, point, _ = (said + token).replace("~", ".").partition(".")
        if whole and int(whole) > self._largest:
            return None
        # Once the point is said only the whole part mattered: forget it, and the states stay few.
        return ("size", ".") if point else ("size", whole)


def narrowed_to(automaton: Automaton, scope: Scope) -> Automaton:
    """``automaton`` cut down to what may be said in ``scope``, for a recogniser to listen for."""
    return narrowed(automaton, ScopeWatcher(scope))
