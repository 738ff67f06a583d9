"""A warning takes a word of its own; what waits keeps what was told of it."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st
from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Save
from callout.core.units import Unit

RULES = Rules(walk=False)
# Invented: 42.0 five years ago. 3.6 SD of 420 mm are 12.6485 mm (census rule); 40.7 is 13 mm
# down.
DOWN = (
    "83, 40.7, size 4 0, that is down 1.3 in 5 years. "
    "Tape slack or twisted? above the paint line? Accept?"
)


def talk(rules: Rules = RULES) -> Talk:
    return Talk(survey(tree("83", "42.0"), tree("84", "18.0"), rules=rules))


def test_a_plain_yes_does_not_take_a_warning():
    one = talk()
    assert one.read("83", "40.7") == DOWN
    assert one.hear("confirm") == (
        "Not saved yet: 83, 40.7, size 4 0, that is down 1.3 in 5 years. "
        "Tape slack or twisted? above the paint line? "
        "Say accept to keep 40.7, or call it again."
    )
    assert one.memory.pending is not None
    assert one.hear("repeat") == DOWN, "the question stands as it was"
    assert one.hear("accept") == "Saved 83, 40.7."
    assert one.saved.warnings == ("shrunk",)


def test_a_reading_without_a_warning_takes_one_word():
    one = talk()
    assert one.read("83", "42.6") == "83, 42.6. Confirm?"
    assert one.hear("confirm") == "Saved 83, 42.6."


def test_measured_again_and_found_good_a_yes_does():
    one = talk()
    one.read("83", "40.7")
    one.hear("amend", value=Decimal("42.6"))
    assert one.hear("confirm") == "Saved 83, 42.6."
    assert one.saved.warnings == ()


def test_a_survey_may_do_without_the_word():
    one = talk(Rules(walk=False, accept_word=False))
    assert one.read("83", "40.7").endswith("Confirm?")
    one.hear("confirm")
    assert one.saved.warnings == ("shrunk",)


def test_something_else_meanwhile_asks_for_the_same_word():
    one = talk()
    one.read("83", "40.7")
    assert one.hear("complete").endswith(f"Still waiting: {DOWN}")


def test_putting_right_what_was_just_saved_is_not_questioned_as_a_second_tree():
    one = talk()
    one.save("83", "42.6")
    assert one.hear("amend", value=Decimal("42.8")) == ("83 again: 42.8 instead of 42.6. Accept?")
    assert one.hear("accept") == "Saved 83, 42.8."
    assert "Is this the right tag?" in one.read("83", "42.9")


@given(st.decimals(2, 190, places=1), st.lists(st.sampled_from(["confirm", "repeat", "where"])))
def test_what_is_warned_of_is_never_saved_without_its_word(value, words):
    one = talk()
    one.read("83", str(value))
    pending = one.memory.pending
    assert pending is not None
    if not pending.warned:
        return
    for word in words:
        one.hear(word)
        assert not any(isinstance(effect, Save) for effect in one.effects)
    one.hear("accept")
    assert one.saved.warnings == tuple(item.check for item in pending.warned)


# ---- a status for what waits ----


def test_dead_keeps_the_size_the_stem_and_that_it_is_new():
    one = talk()
    one.read("83", "42.2", stem="2")
    assert one.hear("status", status="dead_standing") == (
        "83 stem 2, 42.2, dead standing. Confirm?"
    )
    one.hear("confirm")
    assert (one.saved.value, one.saved.stem) == (Decimal("42.2"), "2")
    one.hear("new", tag="95", value=Decimal("12.0"), species="beech")
    assert one.hear("status", status="dead_standing") == (
        "New tree 95, beech, 12.0, dead standing. Confirm?"
    )
    one.hear("confirm")
    assert (one.saved.is_new, one.saved.species) == (True, "beech")


def test_a_tree_that_is_gone_has_no_size_and_that_is_said():
    one = talk()
    one.read("83", "42.2")
    assert one.hear("status", status="missing") == "42.2 is dropped. 83, missing. Confirm?"
    one.hear("confirm")
    assert (one.saved.value, one.saved.raw, one.saved.raw_unit) == (None, None, None)


def test_a_size_for_a_dead_tree_keeps_it_dead():
    one = talk()
    one.hear("status", tag="83", status="dead_standing")
    assert one.hear("size", value=Decimal("42.2")) == "83, 42.2, dead standing. Confirm?"
    one.hear("scratch")
    one.hear("status", tag="83", status="dead_standing")
    assert one.read("83", "42.2") == "83, 42.2, dead standing. Confirm?"


def test_a_size_for_a_missing_tree_means_it_was_found():
    one = talk()
    one.hear("status", tag="83", status="missing")
    assert one.hear("size", value=Decimal("42.2")) == "83, 42.2. Confirm?"


def test_a_refused_new_tree_said_dead_is_still_new():
    one = talk()
    one.hear("new", tag="95", value=Decimal("12.0"))
    one.hear("reject")
    assert one.hear("status", status="dead_standing") == "New tree 95, dead standing. Confirm?"


def test_the_warning_about_the_words_stays_with_the_status():
    one = talk()
    one.read("83", "16.0", unit=Unit.INCH)
    assert "you said in" in one.said
    assert "you said in" in one.hear("status", status="dead_standing")
