"""Compares two journals of the same trees: which standing readings differ."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from callout.core.model import Reading
from callout.journal.reader import current

Tree = tuple[str, str, str]
"""Plot, tag and stem."""


@dataclass(frozen=True)
class Difference:
    """One tree as in each of the two journals; None if it was not saved there."""

    tree: Tree
    kept: Reading | None
    anew: Reading | None

    @property
    def weight(self) -> tuple[int, Decimal]:
        """For sorting, worst first: another size, then a missing one; the further, the worse."""
        if self.kept is None or self.anew is None:
            return (1 if self.anew is None else 2, Decimal(0))
        if self.kept.value is None or self.anew.value is None:
            return (0, Decimal(0))
        return (0, -abs(self.kept.value - self.anew.value))


def differences(kept: Iterable[Reading], anew: Iterable[Reading]) -> tuple[int, list[Difference]]:
    """The number of trees that are the same in both, and those that differ, worst first."""
    before, after = _standing(kept), _standing(anew)
    found = [
        Difference(tree, before.get(tree), after.get(tree))
        for tree in dict.fromkeys([*before, *after])
    ]
    differing = [item for item in found if _said(item.kept) != _said(item.anew)]
    differing.sort(key=lambda item: item.weight)
    return len(found) - len(differing), differing


def _standing(readings: Iterable[Reading]) -> dict[Tree, Reading]:
    return {(item.plot, item.tag, item.stem): item for item in current(list(readings))}


def _said(reading: Reading | None) -> tuple[object, ...]:
    if reading is None:
        return ()
    return (reading.value, reading.unit, reading.status)
