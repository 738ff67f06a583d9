"""Narrows what can be heard to one plot: its tags, and sizes a tree there can have.

The limits are the plot's, the same for every tree; a tree's own history plays no part.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from decimal import Decimal

from callout.core.meaning import Meaning
from callout.core.units import PI, Scale, Unit, convert, diameter_from
from callout.grammar.automaton import Automaton, narrowed

_NO_LIMIT = Decimal(999)
_MOST_DIGITS = 3
# A size's whole part, once it can no longer grow ("=") or its point was said (".").
_CLOSED = ".="
_SIDES = frozenset(scale.value for scale in Scale)


@dataclass(frozen=True)
class Scope:
    """The plot's tags (None: any tag) and its plausible diameters, ends included, in ``unit``.

    A size is read on ``scale`` unless its side of the tape is said; a girth is pi times as large.
    ``decimal_comma``: a typed 11,2 is 11.2.
    """

    tags: frozenset[str] | None = None
    smallest: Decimal = Decimal("0.1")
    largest: Decimal = Decimal(200)
    unit: Unit | None = None
    implied_point: bool = True
    scale: Scale = Scale.DIAMETER
    decimal_comma: bool = False

    def fits(self, meaning: Meaning) -> bool:
        """Whether ``meaning`` names a tree of the plot (or a new one) and a size trees can have."""
        return self._tag_fits(meaning) and self.size_fits(meaning)

    def size_fits(self, meaning: Meaning) -> bool:
        """Whether the size said, if any, lies in the plot's range."""
        if meaning.value is None:
            return True
        if meaning.implied and not self.implied_point:
            return False
        value = diameter_from(meaning.value, meaning.scale or self.scale)
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
        # A size may be said in another unit than the plot's, or for the other side of the tape:
        # each has its own limit.
        units = (None, *Unit)
        self._largest = {
            (side, unit.value if unit else ""): self._whole_limit(
                unit, Scale(side) if side else None
            )
            for side in ("", *_SIDES)
            for unit in units
        }
        self._furthest = {
            side: max(most for (of, _), most in self._largest.items() if of == side)
            for side in ("", *_SIDES)
        }
        self._first_alike: dict[tuple[int, ...], str] = {}

    def _whole_limit(self, said_in: Unit | None, side: Scale | None) -> int:
        largest, kept_in = min(self._scope.largest, _NO_LIMIT), self._scope.unit
        if (side or self._scope.scale) is Scale.GIRTH:
            largest = largest * PI
        if said_in is not None and kept_in is not None:
            largest = convert(largest, kept_in, said_in)
        return int(min(largest, _NO_LIMIT))

    def start(self) -> Hashable:
        return ("", "")

    def step(self, state: Hashable, token: str) -> Hashable | None:
        assert isinstance(state, tuple)
        slot, said = state
        if token == "@redo":
            return (slot, "") if said else None
        if token.startswith("@"):
            unit = token.removeprefix("@unit:") if token.startswith("@unit:") else ""
            announced = token == "@new" and not said  # "new tree", before any tag
            if not announced and not self._complete(slot, said, unit):
                return None
            name, _, what = token[1:].partition(":")
            if name == "scale":
                return (what, "")
            if name == "size" and slot in _SIDES:
                return (f"size {slot}", "")
            return (name if name in ("tag", "size", "new") else "", "")
        return self._extend(slot, said, token)

    def ends(self, state: Hashable) -> bool:
        assert isinstance(state, tuple)
        return self._complete(*state)

    def _complete(self, slot: str, said: str, unit: str = "") -> bool:
        if slot == "tag":
            return self._scope.tags is None or said in self._scope.tags
        if slot.startswith("size") and said.strip(_CLOSED):
            return int(said.strip(_CLOSED)) <= self._largest[_side_of(slot), unit]
        return True

    def _extend(self, slot: str, said: str, token: str) -> _Watched | None:
        if slot == "tag" and self._scope.tags is not None:
            longer = said + token
            return (slot, longer) if longer in self._prefixes else None
        if slot.startswith("size"):
            extended = self._extend_size(said, token, self._furthest[_side_of(slot)])
            return None if extended is None else (slot, extended)
        return (slot, "")

    def _extend_size(self, said: str, token: str, furthest: int) -> str | None:
        if token == "~" and not self._scope.implied_point:
            return None
        if said.startswith("."):
            return said
        if said.startswith("="):
            return "." + said[1:] if token[0] in ".~" else None
        whole, point, _ = (said + token).replace("~", ".").partition(".")
        if whole and int(whole) > furthest:
            return None
        if point:
            return "." + self._limits_kept(whole)
        if len(whole) >= _MOST_DIGITS:
            return "=" + self._limits_kept(whole)
        return self._first_alike.setdefault(self._room(whole), whole)

    def _room(self, whole: str) -> tuple[int, ...]:
        """How far each further digit is from each limit: where that is equal all ends alike."""
        most_more = range(_MOST_DIGITS + 2)  # "zero, two, triple zero"
        begun = [(int(whole or "0") * 10**more, 10**more) for more in most_more]
        limits = self._largest.values()
        return (
            len(whole),
            *(max(-1, min(most - low, many)) for most in limits for low, many in begun),
        )

    def _limits_kept(self, whole: str) -> str:
        """The lowest number within the same limits: equivalent whole parts share a state."""
        passed = [limit for limit in self._largest.values() if int(whole or "0") > limit]
        return str(max(passed) + 1) if passed else "0"


def _side_of(slot: str) -> str:
    """The side of the tape that a size began with; '' if none was said."""
    return slot.removeprefix("size").strip()


def narrowed_to(automaton: Automaton, scope: Scope) -> Automaton:
    """``automaton`` narrowed to what may be said in ``scope``, for a recogniser."""
    return narrowed(automaton, ScopeWatcher(scope))
