"""What was said in one plot is not taken for another's: tags, the value before, the last saved.

All trees are invented; the plots' names are chosen to stand before and after one another.
"""

from __future__ import annotations

import pickle
import random
from dataclasses import replace
from decimal import Decimal

import pytest

from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Reading, Tree
from callout.session.draft import _value_before
from callout.session.records import Done, Saved, key_of
from callout.session.state import Memory, left_to_do
from callout.session.tags import (
    by_roster_tag,
    held,
    known_tags,
    last_reading,
    let_go,
    lost_and_new,
    tags_on_hold,
)
from callout.session.walk import passed_over

AT = "2026-06-02T09:15:00.000+02:00"


def read(plot: str, tag: str, value: str = "24.6", **more: object) -> Reading:
    made = Reading(7, AT, plot, tag, value=Decimal(value))
    return replace(made, **more)  # type: ignore[arg-type]


def memory(*readings: Reading) -> Memory:
    saved, done = Saved(), Done()
    for entry, item in enumerate(readings, start=1):
        item = replace(item, entry=entry)
        saved = saved.having(item)
        done = done.having(item.plot, (*done.get(item.plot, ()), item))
    return Memory(plot="K2", saved=saved, done=done)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_saved_by_plot_is_as_in_one_plain_table(seed: int) -> None:
    """Saved, corrected and taken back in any order of plots; older values stay as they were."""
    chance, plain = random.Random(seed), dict[tuple[str, str, str], Reading]()
    own, saved, done = dict[str, tuple[Reading, ...]](), Saved(), Done()
    before = [(saved, dict(plain), done, dict(own))]
    for entry in range(1, 40):
        item = read(chance.choice(["K1", "K2", "K3"]), chance.choice("789"), entry=entry)
        key = (item.plot, item.tag, item.stem)
        if key in plain and chance.random() < 0.4:
            del plain[key]
            own[item.plot] = own[item.plot][:-1]
            saved = saved.lacking(key)
        else:
            plain[key] = item
            own[item.plot] = (*own.get(item.plot, ()), item)
            saved = saved.having(item)
        done = done.having(item.plot, own[item.plot])
        if chance.random() < 0.2:
            saved, done = pickle.loads(pickle.dumps((saved, done)))
        before.append((saved, dict(plain), done, dict(own)))
    for saved, plain, done, own in before:
        assert dict(saved) == plain
        assert dict(done) == own
        assert (len(saved), len(done)) == (len(plain), len(own))
        for plot in ("K1", "K2", "K3", "K4"):
            assert set(saved.trees(plot)) == {tag for where, tag, _ in plain if where == plot}
            last = own[plot][-1].entry if own.get(plot) else 0
            assert done.last(plot) == last


@pytest.mark.parametrize("elsewhere", ["K1", "K3"])
def test_new_trees_and_new_tags_are_known_in_their_own_plot_only(elsewhere: str) -> None:
    here = Plot(PlotSettings("K2"), {"83": Tree("K2", "83")})
    other = read(elsewhere, "205", new_tag="305")
    own = read("K2", "206", new_tag="306")
    assert set(known_tags(memory(other, own), here)) == {"83", "206", "306"}
    assert set(known_tags(memory(other), here)) == {"83"}


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


def anew(text: str) -> str:
    """The same text, another object: as a journal, a roster and a callout each bring their own."""
    return "".join(list(text))


def test_names_are_compared_by_what_they_say() -> None:
    """What is remembered, looked up with a plot and tags that are equal but not the same."""
    own = read("K2", "206", "22.0", tag_lost=True, new_tag="306")
    kept = replace(memory(own), lost_tags={("K2", "83"): "305"})
    here = Plot(PlotSettings(anew("K2")), {anew("83"): Tree(anew("K2"), anew("83"))})
    assert set(known_tags(kept, here)) == {"83", "206", "306"}
    assert tags_on_hold(kept, here) == {"305"}
    assert lost_and_new(kept, anew("K2"), anew("206")) == (True, "306")
    assert last_reading(kept, anew("K2"), anew("206")) == replace(own, entry=1)
    assert by_roster_tag(kept, here, Meaning("tree", anew("306"))).tag == "206"
    assert by_roster_tag(kept, here, Meaning("tree", anew("305"))).tag == "83"
    assert left_to_do(memory(read("K2", "83")), here) == ()
    assert _value_before(kept, read(anew("K2"), "83")) == Decimal("22.0")
    assert _value_before(kept, read(anew("K2"), anew("206"))) is None
    row = {anew(tag): Tree(anew("K2"), anew(tag)) for tag in ("83", "84", "85")}
    walked = memory(read("K2", "83"))
    assert passed_over(walked, Plot(here.settings, row), anew("85")) == ("84",)


@pytest.mark.parametrize(("plot", "tag"), [("K1", "83"), ("K3", "83"), ("K2", "82"), ("K2", "84")])
def test_the_last_reading_of_a_tree_is_its_own(plot: str, tag: str) -> None:
    own, other = read("K2", "83", "22.0"), read(plot, tag, "33.0")
    assert last_reading(memory(own, other), "K2", "83") == replace(own, entry=1)
    assert last_reading(memory(other), "K2", "83") is None
    assert last_reading(memory(other, own), plot, tag) == replace(other, entry=1)


def test_a_reading_that_was_superseded_or_taken_back_is_not_the_last() -> None:
    first = read("K2", "83", "22.0", entry=1)
    second, other = read("K2", "83", "33.0", entry=2), read("K2", "83", "11.0", stem="2", entry=3)
    both = Saved().having(first).having(second)
    assert last_reading(Memory(saved=both), "K2", "83") == second
    assert last_reading(Memory(saved=both.having(other)), "K2", "83") == other
    back = both.having(first)
    assert last_reading(Memory(saved=back), "K2", "83") == first
    assert last_reading(Memory(saved=back.lacking(key_of(first))), "K2", "83") is None


def test_letting_a_new_tag_go_lets_that_one_go() -> None:
    kept = replace(memory(), lost_tags={("K2", "83"): "305", ("K1", "83"): "1", ("K2", "84"): "2"})
    left = let_go(kept, anew("K2"), anew("83")).lost_tags
    assert left == {("K1", "83"): "1", ("K2", "84"): "2"}
    assert held(kept, "K2", "83", "").lost_tags["K2", "83"] == ""


@pytest.mark.parametrize("elsewhere", ["K1", "K3"])
def test_what_was_saved_last_elsewhere_is_the_last_of_it(elsewhere: str) -> None:
    rows = (read(elsewhere, "83"), read("K2", "83"), read(elsewhere, "84"))
    assert memory(*rows).saved_elsewhere("K2") == 3
    assert memory(*rows).saved_elsewhere(elsewhere) == 2
    assert memory(*rows[::2]).saved_elsewhere(elsewhere) == 0


def test_a_stem_is_taken_back_by_its_name() -> None:
    kept = memory(read("K2", "83", stem=anew("A1"))).saved
    assert kept.lacking(("K2", "83", anew("A1"))).stems("K2", "83") == {}
