"""Which readings stand, after any chain of supersessions and undos.

The reference is a plain list a stem: a reading is put on top, an undo takes the top off, what is
on top stands. It is fed the same steps as the journal's rows.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from callout.core.model import Reading
from callout.journal.reader import current

steps = st.lists(st.sampled_from(["save 1", "save 2", "undo"]), max_size=40)


@given(steps)
def test_what_stands_is_the_top_of_each_stack(done: list[str]) -> None:
    stacks: dict[str, list[Reading]] = {"1": [], "2": []}
    order: list[str] = []
    rows: list[Reading] = []
    for entry, step in enumerate(done, start=10):
        if step == "undo":
            if not order:
                continue
            last = stacks[order.pop()].pop()
            rows.append(replace(last, entry=entry, supersedes=last.entry, void=True))
            continue
        tag = step[-1]
        before = stacks[tag][-1].entry if stacks[tag] else None
        reading = Reading(entry, "x", "K1", tag, value=Decimal(entry), supersedes=before)
        stacks[tag].append(reading)
        order.append(tag)
        rows.append(reading)
    expected = {stack[-1].entry for stack in stacks.values() if stack}
    assert {item.entry for item in current(rows)} == expected
    assert len(current(rows)) == len(expected)


def chain(*rows: tuple[int, int | None, bool]) -> list[int]:
    made = [Reading(e, "x", "K1", "83", supersedes=s, void=v) for e, s, v in rows]
    return [item.entry for item in current(made)]


def test_chains_by_hand() -> None:
    assert chain() == []
    assert chain((3, None, False)) == [3]
    assert chain((3, None, False), (5, 3, False)) == [5]
    assert chain((3, None, False), (5, 3, False), (6, 5, True)) == [3]
    assert chain((3, None, False), (5, 3, False), (6, 5, True), (7, 3, True)) == []
    assert chain((3, None, False), (5, 3, False), (6, 5, True), (8, 3, False)) == [8]
    assert chain((3, None, False), (5, 3, False), (7, 5, False), (8, 7, True)) == [5]
