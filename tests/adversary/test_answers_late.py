"""A yes that was begun before the question it would answer is for another, notes included."""

from __future__ import annotations

from pathlib import Path

import pytest
from at_table import PureTable, StationTable


@pytest.fixture
def table(tmp_path: Path):
    made = StationTable(tmp_path)
    made.open("K1", "R.V.")
    yield made
    made.close()


def test_a_yes_begun_before_the_echo_of_a_note_keeps_no_note(table: StationTable) -> None:
    table.typed("7 note", 0)
    (asked,) = table.typed("bark beetles on the north side", 0).texts
    assert asked == "Note about tree 7: bark beetles on the north side. Confirm?"
    late = table.voiced("yes", 0)
    assert late.texts == [f"That has changed. {asked}"]
    (kept,) = table.voiced("yes", table.number).texts
    assert kept == "Note kept about tree 7."


def test_a_note_is_kept_by_voice_while_a_reading_waits_too(table: StationTable) -> None:
    (question,) = table.typed("7 28.1", 0).texts
    table.typed("note", table.number)
    table.typed("bark beetles on the north side", table.number)
    (kept,) = table.voiced("yes", table.number).texts
    assert kept == f"Note kept about tree 7. Still waiting: {question}"


def test_a_yes_begun_before_the_echo_of_a_reading_saves_nothing(table: StationTable) -> None:
    table.typed("7 28.1", 0)
    assert not table.voiced("yes", 0).saves
    assert len(table.voiced("yes", table.number).saves) == 1


@pytest.mark.parametrize("meanwhile", ["99 note", "repeat", "what's left", "where was i", "mumble"])
def test_while_a_note_is_listened_for_no_yes_is_asked_for(meanwhile: str) -> None:
    """A spoken yes would be the note; what is asked for now is told, whatever came between."""
    pure = PureTable()
    pure.open("K1", "R.V.")
    pure.typed("7 28.1", 0)
    (asked,) = pure.typed("note", pure.number).texts
    assert asked == "Note about tree 7: speak or type it now."
    (told,) = pure.key("repeat", 0).texts if meanwhile == "repeat" else (
        pure.voiced("mumble", 0).texts[:1] if meanwhile == "mumble"
        else pure.typed(meanwhile, 0).texts
    )  # fmt: skip
    if meanwhile == "mumble":
        assert told.startswith("Note kept about tree 7.")
    else:
        assert told.endswith(asked) and "Confirm?" not in told
