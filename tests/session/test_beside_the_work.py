"""Pauses, what is asked beside the work, numbers alone and new trees step by step. All invented."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from harrow_fen import SURVEY
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Save
from callout.core.meaning import Meaning
from callout.session.machine import step
from callout.session.phase import Phase
from callout.session.state import Memory


def talk(**rules: object) -> Talk:
    return Talk(survey(tree("12"), tree("61", "24.0"), tree("62", "18.0"), tree("150", "40.0"),
                       rules=Rules(walk=False, accept_word=False, **rules)))  # fmt: skip


def speak(one: Talk, *meanings: Meaning) -> str:
    one.take(Heard(len(one.events) + 1, AT, "voice", "said", meanings))
    return one.said


# ---- pauses ----


def test_in_a_pause_nothing_spoken_is_taken():
    one = talk()
    one.read("61", "24.4")
    assert "Still waiting: 61, 24.4" in one.hear("pause")
    before = one.memory
    for overheard in (Meaning("confirm"), Meaning("reading", "62", Decimal(19)), Meaning("undo")):
        assert speak(one, overheard) == ""
    assert speak(one) == "", "not even that it was not understood"
    assert one.silence() == "", "nobody is reminded"
    assert one.memory == before


@pytest.mark.parametrize("word", ["resume", "where"])
def test_a_word_ends_it_and_what_waited_still_waits(word):
    one = talk()
    one.read("61", "24.4")
    one.hear("pause")
    assert "Still waiting: 61, 24.4" in speak(one, Meaning(word))
    assert not one.memory.paused
    speak(one, Meaning("confirm"))
    assert one.saved.tag == "61"


def test_a_doubtful_word_does_not_end_it():
    one = talk()
    one.hear("pause")
    speak(one, Meaning("resume"), Meaning("repeat"))
    assert one.memory.paused


def test_what_is_typed_in_a_pause_is_taken_and_the_pause_lasts():
    one = talk()
    one.hear("pause")
    one.read("61", "24.4")
    assert one.memory.pending is not None and one.memory.paused


def test_a_pause_is_replayed():
    one = talk()
    one.read("61", "24.4")
    one.hear("pause")
    speak(one, Meaning("confirm"))
    memory = Memory()
    for event in one.events:
        memory, _ = step(one.survey, memory, event)
    assert memory == one.memory and one.memory.paused


def test_a_new_day_is_no_pause():
    one = talk()
    one.hear("pause")
    one.open("K2")
    assert not one.memory.paused


# ---- a number alone ----


def test_asked_which_tree_the_tag_alone_is_the_answer_and_the_size_is_kept():
    one = talk()
    assert one.hear("size", value=Decimal("24.4")) == "24.4: which tree?"
    assert one.hear("size", value=Decimal(61)) == "61, 24.4. Confirm?"


def test_or_the_tag_with_its_word():
    one = talk()
    one.hear("size", value=Decimal("24.4"))
    assert one.hear("tree", tag="61") == "61, 24.4. Confirm?"


def test_anything_between_lets_that_size_go():
    one = talk()
    one.hear("size", value=Decimal("24.4"))
    one.hear("left")
    assert one.hear("tree", tag="61") == "Tree 61, beech. Diameter?"


def test_a_size_that_is_also_a_tag_is_the_size_of_the_tree_in_hand():
    one = talk()
    one.hear("tree", tag="61")
    assert one.hear("size", value=Decimal(12)).startswith("61, 12.0")


def test_a_number_that_is_no_size_of_the_plot_is_asked_about():
    one = Talk(survey(tree("61", "24.0"), tree("417")))
    one.hear("tree", tag="61")
    assert one.hear("size", value=Decimal(417)).startswith("Could be diameter 417, or tree 417")
    assert one.memory.phase is Phase.NAMED and one.memory.named == "61"


def test_said_to_be_a_size_it_is_one():
    one = talk()
    assert one.hear("size", value=Decimal(61), unit=SURVEY.plots["K1"].settings.unit) != ""
    assert one.memory.phase is Phase.IDLE


def test_another_tree_without_its_word_is_asked_about_while_one_is_in_hand():
    """ "Nineteen, um, twenty" may be one size said twice."""
    one = talk()
    one.hear("tree", tag="61")
    assert "say tree" in one.hear("reading", tag="12", value=Decimal(20), bare=True)
    assert one.memory.pending is None
    assert "12, 20.0" in one.hear("reading", tag="12", value=Decimal(20))


# ---- new trees, step by step ----


def test_a_new_tree_is_built_step_by_step():
    one = talk()
    assert one.hear("new", tag="417") == "New tree 417. Diameter?"
    assert one.hear("size", value=Decimal("12.2")).startswith("New tree 417, 12.2,")
    assert one.hear("species", species="oak").startswith("New tree 417, oak, 12.2,")
    one.hear("accept")
    assert (one.saved.tag, one.saved.species, one.saved.is_new) == ("417", "oak", True)


def test_its_species_may_come_before_its_size_and_its_tag_again():
    one = talk()
    one.hear("new", tag="417")
    assert one.hear("species", species="oak") == "New tree 417, oak. Diameter?"
    assert one.read("417", "12.2").startswith("New tree 417, oak, 12.2,")


def test_its_species_may_come_with_its_tag():
    one = talk()
    assert one.hear("new", tag="417", species="oak") == "New tree 417, oak. Diameter?"


def test_a_tag_that_hangs_in_the_plot_is_no_new_tree():
    one = talk()
    assert one.hear("new", tag="61").startswith("Tag 61 is in this plot already")
    assert one.memory.phase is Phase.IDLE


def test_the_roster_s_species_is_not_changed():
    one = talk()
    one.read("61", "24.4")
    before = one.memory.pending
    assert "for a new tree" in one.hear("species", species="oak")
    assert one.memory.pending == before


# ---- what was last time ----


def test_the_former_size_is_told_when_asked_for_and_changes_nothing():
    one = talk()
    one.read("61", "19.3")
    before = one.memory
    assert "61 was 24.0 centimetres in 2021." in one.hear("last")
    assert "Still waiting: 61, 19.3" in one.said
    assert one.memory == before


def test_not_in_a_blind_plot():
    one = talk(blind=True)
    one.read("61", "19.3")
    assert "24.0" not in one.hear("last")
    assert "measured blind" in one.said


def test_why_tells_the_warning_and_what_to_look_at():
    one = Talk(survey(tree("61", "24.0"), rules=Rules(walk=False)))
    one.read("61", "19.3")
    assert "down" in one.hear("why") and one.said.endswith("Accept?")


@pytest.mark.parametrize("kind", ["help", "next", "last", "left", "pause", "resume", "why"])
def test_nothing_asked_beside_the_work_saves(kind):
    one = talk()
    one.read("61", "24.4")
    pending = one.memory.pending
    one.hear(kind)
    assert not [effect for effect in one.effects if isinstance(effect, Save)]
    assert one.memory.pending == pending


# ---- journals from before ----


def test_entries_of_the_second_edition_are_taken_as_they_were():
    rules = Rules(walk=False, accept_word=False, edition=2)
    one = Talk(survey(tree("12"), tree("61", "24.0"), rules=rules))
    assert one.hear("size", value=Decimal(12)) == "Which tree? say tree and its tag."
    assert "together" in one.hear("new", tag="417")
    one.hear("tree", tag="61")
    one.hear("size", value=Decimal(12))
    assert one.memory.pending is not None and one.memory.pending.draft.tag == "61"
    newer = Talk(replace(one.survey, rules={"K2": replace(rules, edition=3)}))
    assert newer.hear("size", value=Decimal(12)) == "Tree 12, beech. Diameter?"
