"""What is told belongs to the tree, the stem and the plot it was told of, and to no other.

All trees and values are invented. Where an order could matter (the tag before or after, the plot
named earlier or later), both sides are tried.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Opened
from callout.core.model import Plot, PlotSettings, Tree
from callout.session.state import Pending, Survey

RULES = Rules(walk=False)


def talk(**rules: bool) -> Talk:
    trees = (tree("41"), tree("83", "42.0", measured_at_m="1.60"), tree("84"))
    return Talk(survey(*trees, rules=Rules(walk=False, **rules)))


def three_plots() -> Talk:
    """K2 is open; K1 stands before it by name, K3 after it."""
    plots = {
        name: Plot(PlotSettings(name), {"83": Tree(name, "83", "beech")})
        for name in ("K1", "K2", "K3")
    }
    return Talk(Survey(plots, dict.fromkeys(plots, RULES)))


def into(one: Talk, plot: str) -> str:
    one.take(Opened(len(one.events) + 1, AT, plot, "R.V."))
    return one.said


# ---- a status told of what waits ----


def dead_stem_two(one: Talk) -> None:
    """Stem 2 of tree 83 waits, dead standing, without a size."""
    one.read("83", "12.3", stem="2")
    one.hear("status", status="missing")
    assert one.hear("status", status="dead_standing") == "83 stem 2, dead standing. Confirm?"


def test_a_size_for_the_stem_that_was_told_dead_is_of_a_dead_stem():
    one = talk()
    dead_stem_two(one)
    assert one.read("83", "12.4", stem="2").startswith("83 stem 2, 12.4, measured at 1.60 metres")
    one.hear("confirm")
    assert (one.saved.stem, one.saved.status) == ("2", "dead_standing")


@pytest.mark.parametrize(
    ("tag", "stem"), [("83", "1"), ("83", "3"), ("83", None), ("41", "2"), ("84", "2")]
)
def test_a_size_for_another_stem_or_tree_is_not(tag: str, stem: str | None):
    one = talk()
    dead_stem_two(one)
    said = one.read(tag, "12.4", stem=stem)
    assert said.startswith("83 stem 2, dead standing was not saved. ")
    one.hear("accept")
    assert (one.saved.tag, one.saved.stem, one.saved.status) == (tag, stem or "", "live")


@pytest.mark.parametrize("tag", ["41", "84"])
def test_a_status_of_another_tree_lets_what_waits_go(tag: str):
    one = talk()
    one.read("83", "42.2", stem="2")
    said = one.hear("status", tag=tag, status="cut")
    assert said.startswith("83 stem 2, 42.2") and said.endswith(f"not saved. {tag}, cut. Confirm?")
    one.hear("confirm")
    assert (one.saved.tag, one.saved.stem, one.saved.value) == (tag, "", None)


def test_what_was_refused_of_a_tree_stays_with_its_status():
    one = talk()
    one.read("83", "12.3", stem="2")
    one.hear("reject")
    assert one.hear("status", status="dead_standing") == "83 stem 2, dead standing. Confirm?"
    one.hear("scratch")
    one.hear("new", tag="95", value=Decimal("12.0"), species="beech")
    one.hear("reject")
    one.hear("status", status="dead_standing")
    one.hear("confirm")
    assert (one.saved.is_new, one.saved.species) == (True, "beech")


@pytest.mark.parametrize(("refused", "other"), [("95", "84"), ("39", "41")])
def test_it_does_not_go_to_another_tree(refused: str, other: str):
    one = talk()
    one.hear("new", tag=refused, value=Decimal("12.0"), species="larch", stem="2")
    one.hear("reject")
    assert one.hear("status", tag=other, status="cut") == f"{other}, cut. Confirm?"
    one.hear("confirm")
    assert (one.saved.is_new, one.saved.stem, one.saved.species) == (False, "", "beech")


# ---- plots ----


@pytest.mark.parametrize("plot", ["K1", "K3"])
def test_opening_another_plot_lets_what_waits_go(plot: str):
    one = three_plots()
    one.read("83", "24.6")
    assert into(one, plot) == f"83, 24.6 was not saved. Plot {plot}. 1 left: 83."
    assert one.memory.pending is None
    assert one.hear("confirm") == "Nothing waits for confirmation."


def test_opening_the_same_plot_again_keeps_it():
    one = three_plots()
    one.read("83", "24.6")
    assert into(one, "K2") == "Still waiting: 83, 24.6. Confirm?"
    one.hear("confirm")
    assert one.saved.plot == "K2"


@pytest.mark.parametrize("plot", ["K1", "K3"])
def test_what_was_saved_in_another_plot_is_not_told_or_taken_back_here(plot: str):
    one = three_plots()
    one.save("83", "24.6")
    into(one, plot)
    assert one.hear("where") == f"Plot {plot}. Nothing saved yet."
    assert one.hear("undo") == "Nothing to undo in this plot."
    assert one.hear("left") == "1 left: 83."
    assert one.read("83", "31.0") == "83, 31.0. Confirm?", "no value was saved for this tree"
    one.hear("confirm")
    assert one.saved.supersedes is None
    assert one.hear("where") == f"Plot {plot}. Last saved 83, 31.0. In hand: tree 83."
    into(one, "K2")
    assert one.hear("where") == "Plot K2. Last saved 83, 24.6."


# ---- the word that a warning takes ----


def test_a_warning_about_what_was_called_by_its_new_tag_takes_its_word_too():
    """Saved, then said again with a new tag: what is told of it afterwards is warned of as ever."""
    one = talk()
    one.save("83", "42.4")
    assert one.hear("retag", tag="83", new_tag="312").endswith("Accept?")
    said = one.hear("height", height_m=Decimal("1.9"))
    assert "measured at 1.60 metres last time" in said and said.endswith("Accept?")
    assert one.hear("confirm").startswith("Not saved yet")
    one.hear("accept")
    assert (one.saved.new_tag, one.saved.warnings) == ("312", ("height of measurement",))


def test_a_warning_that_was_taken_already_is_recorded_once():
    """40.7 after 42.0 is down by more than the census rule lets pass (see test_accept)."""
    one = talk()
    one.save("83", "40.7")
    assert one.saved.warnings == ("shrunk",)
    one.hear("retag", tag="83", new_tag="312")
    one.hear("height", height_m=Decimal("1.9"))
    one.hear("accept")
    assert sorted(one.saved.warnings) == ["height of measurement", "shrunk"]


def test_without_that_rule_a_yes_does_but_not_for_what_is_saved_already():
    one = talk(accept_word=False)
    one.read("83", "40.7")
    assert one.hear("height", height_m=Decimal("1.9")).endswith("Confirm?")
    one.hear("confirm")
    assert one.saved.height_m == Decimal("1.9")
    one.hear("retag", tag="83", new_tag="312")
    assert one.hear("height", height_m=Decimal("1.8")).endswith("Accept?")
    assert one.hear("confirm").startswith("Not saved yet: 312 again: ")
    one.hear("accept")
    assert one.saved.height_m == Decimal("1.8")


def test_a_warning_wants_its_word_only_where_one_stands():
    one = talk()
    one.read("83", "42.4")
    assert isinstance(one.memory.pending, Pending)
    assert not one.memory.pending.wants_accept
    one.read("83", "40.7")
    assert one.memory.pending.wants_accept


# ---- a new tag for what waits ----


def test_named_or_not_the_new_tag_goes_into_the_reading_that_waits():
    for tag in (None, "83"):
        one = talk()
        one.read("83", "42.4")
        assert one.hear("retag", tag=tag, new_tag="312").startswith("312, was 83, 42.4")
        one.hear("confirm")
        assert (one.saved.tag, one.saved.new_tag) == ("83", "312")


@pytest.mark.parametrize("other", ["41", "84"])
def test_another_tree_s_new_tag_does_not_and_what_waits_is_let_go(other: str):
    one = talk()
    one.read("83", "42.4")
    said = one.hear("retag", tag=other, new_tag="312")
    assert said.endswith(f"was not saved. Tree 312, was {other}, beech. Diameter?")
    assert one.read("83", "42.4").startswith("83, 42.4")
    one.hear("confirm")
    assert not one.saved.tag_lost


def test_a_no_names_the_new_tag_only_where_one_was_told_of_that_tree():
    one = talk()
    one.read("84", "20.2")
    assert one.hear("reject") == "Not saved. Tree 84: say it again."
    one.hear("retag", tag="83", new_tag="312")
    one.read("84", "20.2")
    assert one.hear("reject") == "Not saved. Tree 84: say it again."
    one.read("312", "42.4")
    assert one.hear("reject") == "Not saved. Tree 83: say it again, its new tag too."


def test_a_corrected_size_for_a_tree_that_was_only_named_is_of_no_new_tree():
    one = talk()
    one.hear("tree", tag="84")
    assert one.hear("amend", value=Decimal("20.2")) == "84, 20.2. Confirm?"
    one.hear("confirm")
    assert (one.saved.is_new, one.saved.warnings) == (False, ())


def test_the_status_of_a_refused_new_tree_may_name_it():
    one = talk()
    one.hear("new", tag="95", value=Decimal("12.0"), species="beech", stem="2")
    one.hear("reject")
    assert one.hear("status", tag="95", status="dead_standing") == (
        "New tree 95 stem 2, beech, dead standing. Confirm?"
    )


@pytest.mark.parametrize("tag", [None, "84"])
def test_named_or_not_a_status_of_the_tree_that_waits_keeps_its_size(tag: str | None):
    one = talk()
    one.read("84", "20.2", stem="2")
    assert one.hear("status", tag=tag, status="dead_standing") == (
        "84 stem 2, 20.2, dead standing. Confirm?"
    )
