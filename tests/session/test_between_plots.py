"""What was said in one plot is not taken for another's: tags, the value before, the last saved.

All trees are invented; the plots' names are chosen to stand before and after one another.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from callout.core.model import Plot, PlotSettings, Reading, Tree
from callout.session.draft import _value_before
from callout.session.state import Memory
from callout.session.tags import known_tags, lost_and_new

AT = "2026-06-02T09:15:00.000+02:00"


def read(plot: str, tag: str, value: str = "24.6", **more: object) -> Reading:
    made = Reading(7, AT, plot, tag, value=Decimal(value))
    return replace(made, **more)  # type: ignore[arg-type]


def memory(*readings: Reading) -> Memory:
    saved = {(item.plot, item.tag, item.stem): item for item in readings}
    return Memory(plot="K2", saved=saved, undoable=readings)


@pytest.mark.parametrize("elsewhere", ["K1", "K3"])
def test_new_trees_and_new_tags_are_known_in_their_own_plot_only(elsewhere: str) -> None:
    here = Plot(PlotSettings("K2"), {"83": Tree("K2", "83")})
    other = read(elsewhere, "205", new_tag="305")
    own = read("K2", "206", new_tag="306")
    assert known_tags(memory(other, own), here) == {"83", "206", "306"}
    assert known_tags(memory(other), here) == {"83"}


@pytest.mark.parametrize(("plot", "tag"), [("K1", "83"), ("K3", "83"), ("K2", "82"), ("K2", "84")])
def test_a_lost_tag_is_the_tree_s_own(plot: str, tag: str) -> None:
    lost = memory(read(plot, tag, tag_lost=True, new_tag="305"))
    assert lost_and_new(lost, "K2", "83") == (False, "")
    assert lost_and_new(lost, plot, tag) == (True, "305")


def test_the_value_before_is_that_of_the_last_other_tree_of_this_plot() -> None:
    draft = read("K2", "83", "30.0")
    before = memory(read("K2", "81", "11.0"), read("K2", "84", "22.0"))
    assert _value_before(before, draft) == Decimal("22.0")
    before = memory(read("K2", "84", "22.0"), read("K2", "81", "11.0"))
    assert _value_before(before, draft) == Decimal("11.0")
    assert _value_before(memory(read("K2", "8" + "3", "11.0")), draft) is None, "the same tree"
    for elsewhere in ("K1", "K3"):
        assert _value_before(memory(read(elsewhere, "84", "22.0")), draft) is None
    assert _value_before(Memory(), draft) is None
