"""Where a walk goes on from: the list's first and last tree, new trees, a tree done before.

All trees invented; the order of the list is the order in which they are given.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.model import Reading
from callout.session.records import Done
from callout.session.state import Memory, left_to_do
from callout.session.walk import next_tree, passed_over


def walk(*tags: str) -> Talk:
    return Talk(survey(*(tree(tag, "24.0") for tag in tags), rules=Rules()))


def new(talk: Talk, tag: str) -> str:
    talk.hear("new", tag=tag, value=Decimal("12.0"), species="beech")
    return talk.hear("accept")


def test_a_new_tree_first_of_all_is_followed_by_the_list_s_first():
    assert new(walk("61", "62"), "312") == "Saved 312, beech, 12.0. / Next 61."


def test_a_list_of_one_tree():
    talk = walk("61")
    assert talk.save("61", "24.5") == "Saved 61, 24.5. / Nothing is left in this plot."


def test_from_the_first_tree_to_the_last_everything_between_was_passed_over():
    talk = walk("61", "62", "63")
    talk.save("61", "24.5")
    assert talk.save("63", "24.5") == (
        "Saved 63, 24.5. / Passed over 62. End of the list. 1 left: 62."
    )


def test_a_neighbour_passes_nothing_over():
    talk = walk("61", "62", "63")
    talk.save("61", "24.5")
    assert talk.save("62", "24.5") == "Saved 62, 24.5. / Next 63."


def test_going_back_passes_nothing_over():
    talk = walk("61", "62", "63", "64")
    talk.save("64", "24.5")
    assert talk.save("62", "24.5") == "Saved 62, 24.5. / Next 63."
    assert talk.save("61", "24.5") == "Saved 61, 24.5. / Next 63."


def test_trees_done_before_are_neither_next_nor_passed_over():
    talk = walk("61", "62", "63", "64", "65")
    talk.save("63", "24.5")
    talk.save("61", "24.5")
    assert talk.save("65", "24.5") == (
        "Saved 65, 24.5. / Passed over 62, 64. End of the list. 2 left: 62, 64."
    )
    assert talk.save("62", "24.5") == "Saved 62, 24.5. / Next 64."


def test_a_new_tree_on_the_way_is_passed_over_by_nobody():
    """The walk's place is that of the last tree of the list, whatever was found since."""
    talk = walk("61", "62", "63", "64")
    talk.save("61", "24.5")
    assert new(talk, "312") == "Saved 312, beech, 12.0. / Next 62."
    assert talk.save("63", "24.5") == "Saved 63, 24.5. / Passed over 62. Next 64."


@pytest.mark.parametrize("elsewhere", ["K1", "K3"])
def test_another_plot_s_trees_are_no_place_in_this_one(elsewhere: str):
    talk = walk("61", "62", "63", "64")
    talk.save("61", "24.5")
    (reading,) = talk.memory.undoable
    other = type(reading)(**{**vars(reading), "plot": elsewhere, "tag": "63"})
    memory = type(talk.memory)(
        **{**vars(talk.memory), "done": {"K2": (reading,), elsewhere: (other,)}}
    )
    plot = talk.survey.plots["K2"]
    assert passed_over(memory, plot, "64") == ("62", "63")
    assert next_tree(memory, plot, "312") == "62"


@pytest.mark.parametrize("elsewhere", ["K1", "K3"])
def test_what_is_done_in_another_plot_is_left_to_do_here(elsewhere: str):
    talk = walk("61", "62")
    talk.save("61", "24.5")
    there = replace(talk.memory.undoable[0], plot=elsewhere, tag="62")
    memory = replace(talk.memory, saved=talk.memory.saved.having(there))
    assert left_to_do(memory, talk.survey.plots["K2"]) == ("62",)


def test_after_a_new_tree_the_walk_goes_on_from_where_it_was_not_from_the_top():
    talk = walk("61", "62", "63")
    talk.save("62", "24.5")
    assert new(talk, "312") == "Saved 312, beech, 12.0. / Next 63."


def test_the_nearest_of_those_behind_is_next_even_after_a_second_reading():
    talk = walk("61", "62", "63", "64")
    talk.save("63", "24.5")
    talk.save("61", "24.5")
    assert talk.save("63", "24.7") == "Saved 63, 24.7. / Passed over 62. Next 64."


def test_behind_and_between_never_mean_the_tree_itself():
    """Each place of a list in turn, with nothing done: only the places count."""
    tags = ("61", "12", "64", "13", "70")
    plot = walk(*tags).survey.plots["K2"]
    for place, tag in enumerate(tags):
        behind = tags[place + 1 :]
        assert next_tree(Memory(), plot, tag) == (behind[0] if behind else None)
        last = Memory(plot="K2", done=Done().having("K2", (Reading(7, "", "K2", tag),)))
        for further, other in enumerate(tags):
            assert passed_over(last, plot, other) == tags[place + 1 : further]
        assert next_tree(last, plot, "312") == (behind[0] if behind else None), "a new tree"
    assert passed_over(Memory(), plot, "70") == ()
