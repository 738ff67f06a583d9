"""Tags lost and replaced: the tree keeps its history, and is called by what hangs there now."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from session_tools import AT, Talk, replayed, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Opened
from callout.core.meaning import Meaning
from callout.session.phase import Phase
from callout.session.state import left_to_do


def talk(**rules: bool) -> Talk:
    return Talk(survey(tree("45", "24.0"), tree("41", "30.0"), rules=Rules(walk=False, **rules)))


def test_a_new_tag_goes_into_the_reading_that_waits():
    one = talk()
    one.read("45", "24.6")
    assert one.hear("retag", new_tag="312") == "312, was 45, 24.6. Confirm?"
    assert one.hear("confirm") == "Saved 312, was 45, 24.6."
    saved = one.saved
    assert (saved.tag, saved.new_tag, saved.tag_lost) == ("45", "312", True)
    assert (saved.tag_now, saved.tag_note) == ("312", "was 45")


def test_named_first_it_waits_for_the_diameter_and_saves_nothing_by_itself():
    one = talk()
    one.hear("tree", tag="45")
    assert one.hear("retag", new_tag="312") == "Tree 312, was 45, beech. Diameter?"
    assert one.memory.phase is Phase.NAMED
    assert left_to_do(one.memory, one.survey.plots["K2"]) == ("45", "41")
    assert one.hear("size", value=Decimal("24.6")) == "312, was 45, 24.6. Confirm?"
    one.hear("confirm")
    assert one.saved.new_tag == "312"
    assert left_to_do(one.memory, one.survey.plots["K2"]) == ("41",)


def test_said_with_its_tree_in_one_breath():
    one = talk()
    assert "Tree 312, was 45" in one.hear("retag", tag="45", new_tag="312")


def test_a_lost_tag_without_a_new_one_is_recorded_too():
    one = talk()
    one.read("45", "24.6")
    assert one.hear("retag") == "45, tag lost, 24.6. Confirm?"
    one.hear("confirm")
    assert (one.saved.tag_lost, one.saved.new_tag, one.saved.tag_note) == (True, "", "lost")


def test_afterwards_the_new_tag_has_the_trees_history():
    """Invented: 24.0 five years ago. 21.0 is down by more than the census rule lets pass."""
    one = talk()
    one.hear("retag", tag="45", new_tag="312")
    one.save("45", "24.6")
    assert one.hear("tree", tag="312") == "Tree 312, was 45, beech. Diameter?"
    said = one.read("312", "21.0")
    assert said.startswith("312 again: was 45, 21.0 instead of 24.6, that is down 3")
    one.hear("accept")
    assert (one.saved.tag, one.saved.new_tag, one.saved.supersedes) == ("45", "312", 4)


def test_the_old_tag_is_questioned_from_then_on():
    one = talk()
    one.read("45", "24.6")
    one.hear("retag", new_tag="312")
    one.hear("confirm")
    assert "tag 45 was replaced by 312" in one.read("45", "24.7")
    one.hear("accept")
    assert "old tag" in one.saved.warnings


def test_after_saving_it_is_said_and_confirmed_again():
    one = talk()
    one.save("45", "24.6")
    first = one.saved
    assert one.hear("retag", tag="45", new_tag="312") == ("312 again: was 45, 24.6. Accept?")
    one.hear("accept")
    assert (one.saved.value, one.saved.supersedes) == (Decimal("24.6"), first.entry)
    assert one.saved.words == first.words, "the size was said then"
    one.undo()
    assert one.hear("tree", tag="312").startswith("No tree 312 in this plot")
    assert one.hear("tree", tag="45") == "Tree 45, beech. Diameter?"


def test_in_a_blind_plot_what_was_saved_is_not_told():
    one = talk(blind=True)
    one.save("45", "24.6")
    one.take(Opened(len(one.events) + 1, AT, "K2", "M.O."))
    assert "24.6" not in one.hear("retag", tag="45", new_tag="312")


@pytest.mark.parametrize("new", ["45", "41", "312"])
def test_a_tag_that_hangs_elsewhere_is_refused(new):
    one = talk()
    one.hear("retag", tag="41", new_tag="312")
    one.read("45", "24.6")
    said = one.hear("retag", new_tag=new)
    assert said.startswith(f"Tag {new} is in this plot already")
    one.hear("confirm")
    assert not one.saved.tag_lost


def test_which_tree_is_asked_and_an_unknown_one_refused():
    one = talk()
    one.save("45", "24.6")
    assert one.hear("retag", new_tag="312").startswith("Which tree?")
    assert one.hear("retag", tag="99", new_tag="312").startswith("No tree 99")


def test_no_takes_the_new_tag_back_as_well_and_says_so():
    one = talk()
    one.read("45", "24.6")
    one.hear("retag", new_tag="312")
    assert one.hear("reject") == "Not saved. Tree 45: say it again, its new tag too."
    assert one.hear("size", value=Decimal("24.6")) == "45, 24.6. Confirm?"


def test_another_plot_does_not_forget_what_was_said():
    one = talk()
    one.hear("retag", tag="45", new_tag="312")
    one.read("41", "30.4")
    one.hear("confirm")
    assert one.read("312", "24.6") == "312, was 45, 24.6. Confirm?"


def test_a_new_tree_cannot_have_that_tag():
    one = talk()
    one.read("45", "24.6")
    one.hear("retag", new_tag="312")
    one.hear("confirm")
    said = one.hear("new", tag="312", value=Decimal(8))
    assert "tree 312 is already in this plot" in said


tags = st.sampled_from(["45", "41", "312", "313"])
callouts = st.one_of(
    st.builds(Meaning, st.just("reading"), tags, st.decimals(20, 40, places=1)),
    st.builds(Meaning, st.just("retag"), st.one_of(st.none(), tags), new_tag=tags),
    st.builds(Meaning, st.just("tree"), tags),
    st.builds(Meaning, st.sampled_from(["accept", "reject", "undo", "scratch", "skip"])),
)


@given(st.lists(callouts, max_size=25))
def test_no_two_trees_ever_have_one_tag(meanings):
    """Whatever is said: every tree keeps its own tag, and a restart remembers the same."""
    one = talk()
    for meaning in meanings:
        one.take(Heard(len(one.events) + 1, AT, "typed", "", (meaning,)))
        shown = {item.tag: item.tag_now for item in one.memory.saved.values()}
        others = set(one.survey.plots["K2"].trees) - set(shown)
        assert len(set(shown.values())) == len(shown)
        assert not others & set(shown.values())
    assert replayed(one.survey, one.events) == one.memory


def test_a_stem_that_is_named_is_told_with_what_hangs_on_its_tree():
    one = talk()
    assert one.hear("tree", tag="45", stem="2").startswith("Tree 45 stem 2, beech. Diameter?")
    one.hear("retag", tag="45", new_tag="312")
    assert one.hear("tree", tag="45", stem="2").startswith("Tree 312 stem 2, was 45, beech")
