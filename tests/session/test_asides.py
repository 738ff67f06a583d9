"""Questions and pauses beside the work: what is answered, and that nothing of the work changes."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Say
from callout.core.meaning import Meaning
from callout.core.saying import Saying, as_is


def talk(*, blind: bool = False, accept_word: bool = False) -> Talk:
    rules = Rules(walk=False, accept_word=accept_word, blind=blind)
    return Talk(survey(tree("7", "20.0"), tree("83", "24.0"), tree("84"), rules=rules))


def spoken(one: Talk, *kinds: str, problem: Saying | None = None) -> str:
    meanings = tuple(Meaning(kind) for kind in kinds)
    one.take(Heard(len(one.events) + 1, AT, "voice", " ".join(kinds), meanings, problem))
    return one.said


@pytest.mark.parametrize(
    "kinds", [(), ("confirm",), ("undo",), ("resume", "where"), ("left", "resume")]
)
def test_in_a_pause_other_talk_is_nobodys_callout(kinds: tuple[str, ...]) -> None:
    one = talk()
    one.read("83", "24.6")
    one.hear("pause")
    before = one.memory
    assert spoken(one, *kinds) == ""
    assert (one.memory, one.effects) == (before, ())


def test_a_doubtful_word_to_go_on_is_talk_too() -> None:
    one = talk()
    one.hear("pause")
    assert spoken(one, "resume", problem=as_is("not sure")) == ""
    assert one.memory.paused


@pytest.mark.parametrize("kind", ["resume", "where"])
def test_one_of_two_words_ends_a_pause_and_what_waited_waits(kind: str) -> None:
    one = talk()
    one.read("83", "24.6")
    waits = one.memory.pending
    one.hear("pause")
    assert "83, 24.6" in spoken(one, kind)
    assert not one.memory.paused
    assert one.memory.pending == waits


def test_what_is_typed_in_a_pause_is_taken() -> None:
    one = talk()
    one.hear("pause")
    assert "83, 24.6" in one.read("83", "24.6")


def test_next_goes_on_from_the_tree_in_hand_or_the_one_saved_last() -> None:
    one = talk()
    assert "7" in one.hear("next")
    one.save("83", "24.6")
    one.save("7", "20.4")
    # From 7, saved last, not from 83, saved before it.
    assert "84" in one.hear("next")


def test_next_at_the_end_of_the_list_tells_what_is_left() -> None:
    one = talk()
    one.save("84", "12.0")
    told = one.hear("next")
    assert "7" in told and "83" in told and "84" not in told


def test_last_time_is_told_when_asked_for_the_tree_in_hand_alone() -> None:
    one = talk()
    assert "24.0" not in one.hear("last")
    one.hear("tree", tag="83")
    told = one.hear("last")
    assert "83" in told and "24.0" in told and "2021" in told
    one.hear("tree", tag="84")
    assert "24.0" not in one.hear("last")
    unseen = talk(blind=True)
    unseen.hear("tree", tag="83")
    assert "24.0" not in unseen.hear("last")


def test_help_tells_what_fits_the_moment() -> None:
    one = talk(accept_word=True)
    told = [one.hear("help")]
    one.hear("tree", tag="83")
    told.append(one.hear("help"))
    one.read("83", "24.6")
    told.append(one.hear("help"))
    one.hear("reject")
    one.read("83", "12.6")
    assert one.memory.pending is not None and one.memory.pending.wants_accept
    told.append(one.hear("help"))
    one.hear("reject")
    one.hear("tree", tag="83")
    one.hear("note")
    told.append(one.hear("help"))
    one.hear("pause")
    told.append(one.hear("help"))
    assert len(set(told)) == len(told), told


def test_help_is_of_the_phase_it_is_asked_in() -> None:
    def key(one: Talk) -> str:
        one.hear("help")
        (effect,) = one.effects
        assert isinstance(effect, Say)
        return effect.says[0].key

    one = talk()
    assert key(one) == "help-idle"
    one.hear("tree", tag="83")
    assert key(one) == "help-named"
    one.hear("new", tag="99", value=Decimal("22.5"), species="beech")
    assert key(one) in ("help-pending", "help-warned")
    one.hear("reject")
    assert key(one) == "help-new"


def test_why_tells_the_warning_again_and_keeps_the_question() -> None:
    one = talk()
    one.read("83", "24.6")
    waits = one.memory
    plain = one.hear("why")
    assert "down" not in plain
    assert replace(one.memory, said=waits.said) == waits
    one.read("83", "22.0")
    assert "down 2 in 5 years" in one.hear("why")
    assert one.memory.pending is not None


def test_a_plot_that_is_not_there_changes_nothing() -> None:
    one = talk()
    one.read("83", "24.6")
    waits = one.memory.pending
    assert "K9" in one.hear("plot", text="K9")
    assert one.memory.pending == waits and one.memory.plot == "K2"


def test_a_number_that_is_too_large_for_a_size_and_a_tag_of_the_plot_is_asked_about() -> None:
    one = Talk(survey(tree("41", "24.0"), tree("83", "30.0"), tree("412"), rules=Rules(walk=False)))
    one.hear("tree", tag="83")
    said = one.hear("size", value=Decimal(412))
    assert "412" in said and "tree 412" in said and one.memory.pending is None
    assert one.memory.named == "83"
    # In the plot's range it is the size that was asked for, whatever tags there are.
    assert one.hear("size", value=Decimal(41)).startswith("83, 41")
    # A number that is no tag of the plot is a size too, and no tree has it.
    assert "tree 413" not in one.hear("size", value=Decimal(413))


def test_a_number_alone_is_a_tree_where_the_plot_has_its_tag() -> None:
    one = Talk(survey(tree("41", "24.0"), tree("83", "30.0"), rules=Rules(walk=False)))
    assert one.hear("size", value=Decimal(41)).startswith("Tree 41")
    assert one.memory.named == "41"
    other = Talk(survey(tree("41", "24.0"), rules=Rules(walk=False)))
    other.hear("size", value=Decimal("24.6"))
    assert other.memory.named is None
