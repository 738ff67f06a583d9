"""The order of walk: the next tree, what was passed over, and a plot that is not complete.

All trees invented; the order of the list is the order in which they are given.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules


def walk(*tags: str) -> Talk:
    return Talk(survey(*(tree(tag, "24.0") for tag in tags), rules=Rules()))


def test_the_next_tree_of_the_list_not_of_the_numbers():
    talk = walk("61", "12", "64")
    assert talk.save("61", "24.5") == "Saved 61, 24.5. / Next 12."
    assert talk.save("12", "24.5") == "Saved 12, 24.5. / Next 64."
    assert talk.save("64", "24.5") == "Saved 64, 24.5. / Nothing is left in this plot."


def test_what_was_passed_over_is_said_once():
    talk = walk("61", "62", "63", "64", "65")
    talk.save("61", "24.5")
    assert talk.save("64", "24.5") == "Saved 64, 24.5. / Passed over 62, 63. Next 65."
    assert talk.save("65", "24.5") == "Saved 65, 24.5. / End of the list. 2 left: 62, 63."
    assert talk.save("62", "24.5") == "Saved 62, 24.5. / Next 63."


def test_beginning_in_the_middle_passes_nothing_over():
    assert walk("61", "62", "63").save("62", "24.5") == "Saved 62, 24.5. / Next 63."


def test_a_tree_skipped_aloud_was_not_passed_over():
    talk = walk("61", "62", "63", "64")
    talk.save("61", "24.5")
    talk.hear("tree", tag="62")
    talk.hear("skip")
    assert talk.save("63", "24.5") == "Saved 63, 24.5. / Next 64."
    talk.save("64", "24.5")
    assert talk.hear("complete") == "Not complete. 1 left: 62."


def test_a_tree_may_be_skipped_by_its_tag_and_is_no_longer_the_next():
    talk = walk("61", "62", "63", "64")
    talk.hear("tree", tag="61")
    assert talk.hear("skip", tag="62") == "Skipped 62; it stays on the list."
    assert talk.hear("skip", tag="99") == "No tree 99 in this plot."
    assert talk.hear("size", value=Decimal("24.5")).startswith("61, 24.5."), "61 is still in hand"
    assert talk.hear("confirm") == "Saved 61, 24.5. / Next 63."
    assert talk.hear("complete") == "Not complete. 3 left: 62, 63, 64."


def test_the_last_time_of_a_tree_that_is_named():
    talk = walk("61", "62")
    talk.hear("tree", tag="61")
    assert talk.hear("last", tag="62").startswith("62 was 24.0")


def test_a_new_tree_leaves_the_walk_where_it_was():
    talk = walk("61", "62")
    talk.save("61", "24.5")
    talk.hear("new", tag="312", value=talk.memory.undoable[0].value, species="beech")
    assert talk.hear("confirm") == "Saved 312, beech, 24.5. / Next 62."


def test_a_status_accounts_for_a_tree():
    talk = walk("61", "62")
    talk.hear("status", tag="61", status="missing")
    assert talk.hear("confirm") == "Saved 61, missing. / Next 62."
    assert talk.hear("complete") == "Not complete. 1 left: 62."
    talk.save("62", "24.5")
    assert talk.hear("complete") == "Every tree of this plot is accounted for."


def test_after_one_stem_the_tree_may_not_be_done():
    talk = walk("61", "62")
    assert talk.save("61", "12.5", stem="1") == "Saved 61 stem 1, 12.5."


def test_complete_names_thirty_trees():
    talk = walk(*(str(tag) for tag in range(1, 41)))
    said = talk.hear("complete")
    assert said.startswith("Not complete. 40 left: 1, 2, 3")
    assert said.endswith("30 and 10 more.")


def test_without_a_rule_nothing_is_offered():
    talk = Talk(survey(tree("61", "24.0"), tree("62", "24.0")))
    assert talk.save("61", "24.5") == "Saved 61, 24.5."
    quiet = Talk(survey(tree("61", "24.0"), tree("62", "24.0"), rules=Rules(walk=False)))
    assert quiet.save("61", "24.5") == "Saved 61, 24.5."


def test_what_the_plot_is_is_said_when_it_is_opened_and_what_to_look_at_follows_it():
    about = survey(tree("83", "42.0"))
    settings = replace(
        about.plots["K2"].settings, treatment="control", area_ha=Decimal("0.1"), paint_line=False
    )
    about = replace(about, plots={"K2": replace(about.plots["K2"], settings=settings)})
    talk = Talk(about)
    assert talk.said == "Plot K2. Control, 0.1 ha, no paint line. 1 left: 83."
    assert "Tape slack or twisted? at the same height?" in talk.read("83", "40.7")
