"""A journal of the dialogue's first edition is replayed as it was answered then.

Its rules are those before notes had answers, before an undo was asked about and before a refused
callout let go of the tree. The same dialogue is taken by the rules of today beside it; invented.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Effect, Heard, Save
from callout.core.model import Plot, PlotSettings, Reading
from callout.session.phase import Phase
from callout.session.state import Survey

NOW = Rules(walk=False)


def talk(edition: int, *tags: str) -> Talk:
    return Talk(survey(*map(tree, tags or ("83", "84")), rules=replace(NOW, edition=edition)))


def saves(effects: tuple[Effect, ...]) -> list[Reading]:
    return [effect.reading for effect in effects if isinstance(effect, Save)]


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_an_undo_was_taken_at_once_and_is_asked_about_now(edition: int) -> None:
    one = talk(edition)
    one.read("83", "24.6")
    one.hear("confirm")
    one.hear("undo")
    taken_back = [item for item in saves(one.effects) if item.void]
    if edition == 1:
        assert [item.tag for item in taken_back] == ["83"]
        assert one.memory.undoable == () and one.memory.pending is None
        return
    assert taken_back == [] and one.memory.pending is not None and one.memory.pending.draft.void
    assert (one.memory.named, one.memory.stem, one.memory.named_at) == (None, "", "")
    one.hear("accept")
    (gone,) = saves(one.effects)
    assert gone.void and gone.tag == "83"
    assert one.memory.phase is Phase.IDLE and one.memory.undoable == ()


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_a_refused_callout_left_the_tree_in_hand(edition: int) -> None:
    one = talk(edition)
    one.hear("tree", tag="83")
    one.take(Heard(9, AT, "voice", "mumble", ()))
    assert one.memory.named == ("83" if edition == 1 else None)


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_a_stem_beside_the_whole_tree_was_no_warning(edition: int) -> None:
    one = talk(edition)
    one.read("83", "24.6")
    one.hear("confirm")
    one.read("83", "9.2", stem="two")
    assert one.memory.pending is not None
    names = [item.check for item in one.memory.pending.warned]
    assert ("stem beside tree" in names) is (edition > 1)


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_the_side_of_the_tape_was_not_kept(edition: int) -> None:
    one = talk(edition)
    one.read("83", "24.6")
    one.hear("confirm")
    (saved,) = saves(one.effects)
    assert saved.raw_scale == ("" if edition == 1 else "diameter")


def test_undo_takes_back_what_was_saved_here_and_last() -> None:
    """Neither what another plot has since, nor anything twice; what stood before stands again."""
    one = talk(2)
    for size in ("24.6", "24.8"):
        one.read("83", size)
        one.hear("accept")
    for stands in ("24.6", None):
        one.hear("undo")
        one.hear("accept")
        (gone,) = saves(one.effects)
        assert gone.void
        before = one.memory.saved.get(("K2", "83", ""))
        assert (None if before is None else str(before.value)) == stands
    assert "thing to undo" in one.hear("undo").lower() or one.memory.pending is None
    assert one.memory.pending is None


def test_an_answer_to_an_undo_that_waits() -> None:
    one = talk(2)
    one.read("83", "24.6")
    one.hear("confirm")
    one.hear("undo")
    said = one.hear("reject")
    assert one.memory.pending is None and one.memory.phase is Phase.IDLE
    assert len(one.memory.undoable) == 1 and saves(one.effects) == []
    assert "undo" in said.lower()
    assert one.memory.asking == 0 and one.memory.asked_at == ""


@pytest.mark.parametrize("phase", ["named", "pending"])
def test_a_note_is_no_place_for_a_size_any_more(phase: str) -> None:
    """A callout said where a note is listened for is a callout; the note is told as not kept."""
    one = talk(2)
    one.hear("tree", tag="83") if phase == "named" else one.read("83", "24.6")
    one.hear("note")
    assert one.memory.phase is Phase.MEMO and one.memory.listens_for_a_note
    said = one.read("84", "9.9")
    assert one.memory.pending is not None and one.memory.pending.draft.tag == "84"
    assert "note" in said.lower()
    assert one.memory.asking == one.memory.pending.number > 0


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_a_size_that_no_tree_has_was_echoed(edition: int) -> None:
    one = talk(edition)
    one.read("83", "0.0")
    assert (one.memory.pending is None) == (edition > 1)


def test_an_undo_left_the_next_tree_in_hand() -> None:
    one = talk(1)
    one.read("83", "24.6")
    one.hear("confirm")
    one.hear("tree", tag="84")
    one.hear("undo")
    assert [item.tag for item in saves(one.effects) if item.void] == ["83"]
    assert one.memory.named == "84"


def test_a_survey_without_rules_is_of_the_first_edition_and_tells_no_next_tree() -> None:
    plot = Plot(PlotSettings("K2"), {tag: tree(tag) for tag in ("83", "84")})
    one = Talk(Survey({"K2": plot}))
    one.read("83", "24.6")
    assert one.hear("confirm") == "Saved 83, 24.6."
    one.hear("undo")
    assert [item.void for item in saves(one.effects)] == [True], "taken back at once"


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_a_yes_to_a_note_that_was_asked_for_had_no_answer_of_its_own(edition: int) -> None:
    one = talk(edition)
    one.hear("tree", tag="83")
    one.hear("note")
    said = one.hear("confirm")
    assert said.startswith("Note about tree 83" if edition > 1 else "Nothing waits")


def test_in_a_survey_without_rules_a_yes_took_what_was_warned() -> None:
    plot = Plot(PlotSettings("K2"), {"83": tree("83", "40.0")})
    one = Talk(Survey({"K2": plot}))
    one.read("83", "31.0")
    assert one.memory.pending is not None and one.memory.pending.warned
    one.hear("confirm")
    assert [item.tag for item in saves(one.effects)] == ["83"]
