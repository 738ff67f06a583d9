"""The session, a test a rule; and each row of its table at least once."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal

import in_english
import pytest
from harrow_fen import SURVEY, TODAY, Dialogue, press, reading, saves, says, size
from session_tools import replayed

from callout.core.events import Heard, KeepMemo, Say
from callout.core.meaning import Meaning
from callout.core.saying import as_is
from callout.core.units import Unit
from callout.session.machine import MOST_REMINDERS, TABLE, step
from callout.session.phase import Phase
from callout.session.state import Memory, left_to_do
from callout.session.walk import tree_in_hand


def named() -> Dialogue:
    talk = Dialogue()
    talk.hear(Meaning("tree", "83"))
    return talk


def pending() -> Dialogue:
    talk = Dialogue()
    talk.hear(reading("83", "24.6"))
    return talk


def saved() -> Dialogue:
    talk = pending()
    talk.hear("confirm")
    return talk


def noting() -> Dialogue:
    talk = named()
    talk.hear("note")
    return talk


STATES = {
    Phase.IDLE: Dialogue, Phase.NAMED: named, Phase.PENDING: pending, Phase.MEMO: noting,
}  # fmt: skip

# One row a table row (and a few of every phase's): phase, meaning, phase after, words said.
ROWS = [
    (Phase.IDLE, reading("84", "18.2"), Phase.PENDING, "84, 18.2"),
    (Phase.NAMED, reading("84", "18.2"), Phase.PENDING, "84, 18.2"),
    (Phase.PENDING, reading("84", "18.2"), Phase.PENDING, "83, 24.6 was not saved. 84, 18.2"),
    (Phase.IDLE, Meaning("tree", "84"), Phase.NAMED, "Tree 84, beech. Diameter?"),
    (Phase.PENDING, Meaning("tree", "84"), Phase.NAMED, "83, 24.6 was not saved. Tree 84"),
    (Phase.IDLE, Meaning("tree", "99"), Phase.IDLE, "No tree 99"),
    (Phase.IDLE, Meaning("new", "201", Decimal(12)), Phase.PENDING, "New tree 201, 12.0"),
    (Phase.IDLE, Meaning("new", "201"), Phase.NAMED, "New tree 201. Diameter?"),
    (Phase.IDLE, size("84"), Phase.NAMED, "Tree 84, beech. Diameter?"),
    (Phase.PENDING, Meaning("species", species="oak"), Phase.PENDING, "for a new tree"),
    (Phase.PENDING, Meaning("why"), Phase.PENDING, "Nothing is suspected"),
    (Phase.IDLE, Meaning("next"), Phase.IDLE, "Next 40"),
    (Phase.NAMED, Meaning("last"), Phase.NAMED, "83 was 24.0 centimetres in 2019."),
    (Phase.IDLE, Meaning("last"), Phase.IDLE, "No tree in hand"),
    (Phase.PENDING, Meaning("help"), Phase.PENDING, "Say yes, or no and the right diameter"),
    (Phase.PENDING, Meaning("pause"), Phase.PENDING, "Paused"),
    (Phase.IDLE, Meaning("resume"), Phase.IDLE, "Listening"),
    (Phase.IDLE, Meaning("plot", text="K7"), Phase.IDLE, "No plot K7"),
    (Phase.IDLE, Meaning("status", "40", status="cut"), Phase.PENDING, "cut"),
    (Phase.NAMED, Meaning("status", status="missing"), Phase.PENDING, "83, missing"),
    (Phase.IDLE, Meaning("status", status="missing"), Phase.IDLE, "Which tree?"),
    (Phase.NAMED, size("24.6"), Phase.PENDING, "83, 24.6"),
    (Phase.PENDING, size("24.9"), Phase.PENDING, "83, 24.9"),
    (Phase.IDLE, size("24.6"), Phase.IDLE, "24.6: which tree?"),
    (Phase.NAMED, size("24.6", "amend"), Phase.PENDING, "83, 24.6"),
    (Phase.PENDING, size("24.9", "amend"), Phase.PENDING, "83, 24.9"),
    (Phase.IDLE, size("24.6", "amend"), Phase.IDLE, "24.6: which tree?"),
    (Phase.PENDING, Meaning("height", height_m=Decimal("1.4")), Phase.PENDING, "at 1.4 metres"),
    (Phase.PENDING, Meaning("confirm"), Phase.IDLE, "Saved 83, 24.6"),
    (Phase.PENDING, Meaning("accept"), Phase.IDLE, "Saved 83, 24.6"),
    (Phase.PENDING, Meaning("reject"), Phase.NAMED, "Not saved"),
    (Phase.PENDING, Meaning("scratch"), Phase.IDLE, "Dropped"),
    (Phase.PENDING, Meaning("undo"), Phase.IDLE, "Dropped"),
    (Phase.NAMED, Meaning("reject"), Phase.IDLE, "Dropped"),
    (Phase.NAMED, Meaning("scratch"), Phase.IDLE, "Dropped"),
    (Phase.IDLE, Meaning("undo"), Phase.IDLE, "Nothing to undo"),
    (Phase.NAMED, Meaning("skip"), Phase.IDLE, "Skipped 83"),
    (Phase.PENDING, Meaning("skip"), Phase.IDLE, "Skipped 83"),
    (Phase.IDLE, Meaning("skip"), Phase.IDLE, "No tree in hand"),
    (Phase.IDLE, press("24.6"), Phase.IDLE, "Tape 24.6 cm: which tree?"),
    (Phase.NAMED, press("24.6"), Phase.PENDING, "83, 24.6"),
    (Phase.PENDING, press("24.9"), Phase.PENDING, "83, 24.9"),
    (Phase.IDLE, Meaning("reject"), Phase.IDLE, "Nothing waits"),
    (Phase.IDLE, Meaning("scratch"), Phase.IDLE, "Nothing waits"),
    (Phase.PENDING, Meaning("repeat"), Phase.PENDING, "83, 24.6"),
    (Phase.IDLE, Meaning("left"), Phase.IDLE, "3 left: 40, 83, 84."),
    (Phase.PENDING, Meaning("where"), Phase.PENDING, "Still waiting: 83, 24.6"),
    (Phase.NAMED, Meaning("where"), Phase.NAMED, "In hand: tree 83"),
    (Phase.IDLE, Meaning("note"), Phase.MEMO, "Note about plot K2"),
    (Phase.IDLE, Meaning("well"), Phase.IDLE, "Good, all well at 10:00."),
    (Phase.PENDING, Meaning("well"), Phase.PENDING, "Still waiting: 83, 24.6"),
    (Phase.IDLE, Meaning("complete"), Phase.IDLE, "Not complete"),
    (Phase.IDLE, Meaning("confirm"), Phase.IDLE, "Nothing waits"),
    (Phase.NAMED, Meaning("confirm"), Phase.NAMED, "Nothing waits"),
    (Phase.NAMED, Meaning("note", text="a fork"), Phase.MEMO, "tree 83: a fork. Confirm?"),
    (Phase.MEMO, Meaning("confirm"), Phase.MEMO, "Note about tree 83"),
    (Phase.MEMO, Meaning("accept"), Phase.MEMO, "Note about tree 83"),
    (Phase.MEMO, Meaning("reject"), Phase.NAMED, "No note about tree 83 was kept"),
    (Phase.MEMO, Meaning("scratch"), Phase.NAMED, "No note about tree 83 was kept"),
    (Phase.MEMO, Meaning("undo"), Phase.NAMED, "No note about tree 83 was kept"),
    (Phase.MEMO, Meaning("skip"), Phase.NAMED, "No note about tree 83 was kept"),
    (Phase.IDLE, Meaning("retag", new_tag="9"), Phase.IDLE, "Which tree?"),
    (Phase.NAMED, Meaning("retag", new_tag="9"), Phase.NAMED, "Tree 9, was 83, beech. Diameter?"),
    (Phase.PENDING, Meaning("retag", new_tag="9"), Phase.PENDING, "9, was 83, 24.6"),
    (Phase.PENDING, Meaning("mistag", "84", not_tag="83"), Phase.PENDING, "84, 24.6"),
    (Phase.PENDING, Meaning("mistag", "84", not_tag="12"), Phase.PENDING, "Nothing was changed"),
    (Phase.IDLE, Meaning("mistag", "84"), Phase.IDLE, "then call tree 84"),
]


@pytest.mark.parametrize(("phase", "meaning", "after", "words"), ROWS)
def test_rows(phase, meaning, after, words):
    talk = STATES[phase]()
    assert talk.memory.phase is phase
    effects = talk.hear(meaning)
    assert talk.memory.phase is after
    assert words in says(effects)
    assert bool(saves(effects)) == (meaning.kind in ("confirm", "accept") and "Saved" in words)
    assert (talk.memory.pending is not None) == (after is Phase.PENDING)


def test_no_row_of_the_table_is_untested():
    tested = {(phase, meaning.kind) for phase, meaning, _, _ in ROWS}
    for phase, kind in TABLE:
        if phase is None:
            assert any(kind == other for _, other in tested), kind
        else:
            assert (phase, kind) in tested


# ---- rule 1: saved by a confirmation that follows its own echo ----


def test_saved_reading_keeps_what_was_heard_and_what_is_recorded():
    talk = Dialogue("K1")
    talk.hear(reading("7", "63.75", unit=Unit.CENTIMETRE), words="sixty-three...", audio="ab")
    (record,) = saves(talk.hear("confirm", source="key"))
    assert (record.raw, record.raw_unit) == (Decimal("63.75"), Unit.CENTIMETRE)
    assert (str(record.value), record.unit) == ("25.1", Unit.INCH)
    assert (record.words, record.audio, record.source) == ("sixty-three...", "ab", "typed")
    assert (record.entry, record.who, record.plot, record.tag) == (3, "R.V.", "K1", "7")
    assert record.warnings == ("other unit",)
    assert record.supersedes is None


def test_a_second_confirm_saves_nothing():
    assert saves(saved().hear("confirm")) == []


def test_a_yes_for_an_echo_that_was_replaced_saves_nothing():
    talk = pending()
    about = talk.memory.pending.draft.entry
    talk.hear(size("26.1"))
    effects = talk.hear("confirm", about=about)
    assert saves(effects) == []
    assert "26.1" in says(effects)
    assert saves(talk.hear("confirm", about=talk.memory.pending.draft.entry))


def test_silence_reminds_a_few_times_and_saves_nothing():
    talk = pending()
    before = talk.memory.pending
    said = [says(talk.wait()) for _ in range(MOST_REMINDERS + 3)]
    assert sum("Still waiting: 83, 24.6" in text for text in said) == MOST_REMINDERS
    assert talk.memory.pending == before
    assert saves(talk.hear("confirm"))
    assert Dialogue().wait() == ()


def test_a_pending_reading_survives_a_restart_and_is_asked_again():
    talk = pending()
    effects = talk.open("K2", "M.O.")
    assert "Still waiting: 83, 24.6" in says(effects)
    (record,) = saves(talk.hear("confirm"))
    assert record.who == "R.V.", "who measured, not who confirmed"


def test_another_plot_lets_the_pending_reading_go_and_says_so():
    talk = pending()
    assert "83, 24.6 was not saved" in says(talk.open("K1"))
    assert talk.memory.pending is None


def test_nothing_happens_before_a_plot_is_opened():
    event = Heard(1, TODAY, "typed", "confirm", (Meaning("confirm"),))
    assert step(SURVEY, Memory(), event) == (Memory(), ())


# ---- rule 2: nothing is overwritten ----


def test_a_second_reading_supersedes_and_undo_restores_the_first():
    talk = saved()
    (first,) = talk.memory.saved.values()
    talk.hear(reading("83", "25.2"))
    assert in_english.told(talk.memory.said).startswith("83 again: 25.2 instead of 24.6. ")
    assert saves(talk.hear("confirm")) == [], "what is saved is changed by accept alone"
    (second,) = saves(talk.hear("accept"))
    assert second.supersedes == first.entry
    assert saves(talk.hear("undo")) == saves(talk.hear("confirm")) == []
    (void,) = saves(talk.hear("accept"))
    assert (void.void, void.supersedes) == (True, second.entry)
    assert list(talk.memory.saved.values()) == [first]
    talk.hear("undo")
    talk.hear("accept")
    assert talk.memory.saved == {}
    assert "Nothing to undo" in says(talk.hear("undo"))
    assert left_to_do(talk.memory, SURVEY.plots["K2"]) == ("40", "83", "84")


def test_undo_stays_within_the_plot():
    talk = saved()
    talk.open("K1")
    assert saves(talk.hear("undo")) == []


def test_a_correction_after_saving_is_a_new_entry_once_confirmed():
    talk = saved()
    (first,) = talk.memory.saved.values()
    assert saves(talk.hear(size("24.8", "amend"))) == []
    assert saves(talk.hear("confirm")) == []
    (second,) = saves(talk.hear("accept"))
    assert (second.supersedes, str(second.value)) == (first.entry, "24.8")


# ---- rule 3: what was not understood changes nothing ----


@pytest.mark.parametrize("state", STATES.values(), ids=[phase.value for phase in STATES])
@pytest.mark.parametrize(
    "heard",
    [
        {"meanings": (reading("83", "20"), reading("8320", "1"))},
        {"meanings": (Meaning("confirm"), Meaning("undo"))},
        {"meanings": (Meaning("confirm"),), "problem": as_is("not sure what was said")},
        {"meanings": (), "problem": as_is("no callout in 'rustle'")},
        {"meanings": ()},
    ],
)
def test_doubt_changes_nothing_and_is_said(state, heard):
    talk = state()
    before = talk.memory
    effects = talk.hear(*heard["meanings"], problem=heard.get("problem"))
    kept = {item.name: getattr(before, item.name) for item in fields(before)}
    for name in ("phase", "resume", "named", "stem", "named_at", "drafted"):
        del kept[name]  # no tree is in hand after it
    assert {name: getattr(talk.memory, name) for name in kept} == kept
    assert [type(effect) for effect in effects] == [Say]
    assert effects[0].tone == "refused"
    in_hand = talk.memory.phase is Phase.NAMED or talk.memory.resume is Phase.NAMED
    assert not in_hand
    assert (
        "30.0: which tree?" in says(talk.hear(size("30.0", "amend"))) or before.phase is Phase.MEMO
    )
    assert talk.memory.pending == before.pending
    assert in_english.part(heard.get("problem", as_is("again")))[-5:] in in_english.told(effects[0])


def test_an_unknown_tag_is_no_question():
    talk = pending()
    (say,) = talk.hear(Meaning("tree", "99"))
    assert say.tone == "refused"


# ---- corrections keep the rest ----


@pytest.mark.parametrize("between", [[], ["confirm"], ["reject"]])
def test_a_corrected_size_keeps_stem_and_height(between):
    talk = Dialogue()
    talk.hear(reading("83", "12.3", stem="2"))
    talk.hear(Meaning("height", height_m=Decimal("1.45")))
    for command in between:
        talk.hear(command)
    talk.hear(size("12.4", "amend"))
    (record,) = saves(talk.hear("accept"))
    assert (record.tag, record.stem, str(record.value)) == ("83", "2", "12.4")
    assert record.height_m == Decimal("1.45")


@pytest.mark.parametrize("between", [[], ["confirm"], ["reject"]])
def test_a_corrected_new_tree_stays_new(between):
    talk = Dialogue()
    talk.hear(Meaning("new", "201", Decimal("12.3"), species="beech"))
    for command in between:
        talk.hear(command)
    talk.hear(size("12.4", "amend"))
    (record,) = saves(talk.hear("accept"))
    assert (record.is_new, record.species, record.tag) == (True, "beech", "201")
    assert not {"tag in use", "unknown tag"} & set(record.warnings)


def test_a_named_tree_does_not_inherit_from_the_one_before():
    talk = Dialogue()
    talk.hear(reading("83", "12.3", stem="2"))
    talk.hear(Meaning("tree", "84"))
    talk.hear(size("18.2"))
    assert talk.memory.pending.draft.stem == ""


def test_what_was_saved_cannot_be_skipped():
    assert "No tree in hand" in says(saved().hear("skip"))


def test_a_size_does_not_fall_to_the_tree_saved_last():
    talk = saved()
    assert "30: which tree?" in says(talk.hear(size("30")))
    assert talk.memory.pending is None


# ---- statuses and notes ----


@pytest.mark.parametrize("status", ["dead_standing", "dead_down", "cut", "missing", "not_found"])
def test_statuses_are_saved_and_count_as_done(status):
    talk = Dialogue()
    talk.hear(Meaning("status", "40", status=status))
    assert status.replace("_", " ") in in_english.told(talk.memory.said)
    (record,) = saves(talk.hear("confirm"))
    assert (record.status, record.value, record.raw) == (status, None, None)
    assert left_to_do(talk.memory, SURVEY.plots["K2"]) == ("83", "84")


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.NAMED, Phase.PENDING])
@pytest.mark.parametrize("silent", [True, False])
def test_a_note_is_kept_as_sound_and_the_dialogue_goes_on_where_it_was(phase, silent):
    talk = STATES[phase]()
    before = talk.memory
    talk.hear("note")
    if silent:
        effects = talk.wait()
    else:
        confirm = Meaning("confirm")
        effects = talk.hear(confirm, source="voice", audio="cd", words="confirm the fork")
        assert effects[0] == KeepMemo(talk.entry - 1, TODAY, before.named, "cd", "confirm the fork")
    assert saves(effects) == []
    assert talk.memory.phase is phase
    assert (talk.memory.pending, talk.memory.named) == (before.pending, before.named)


def test_complete_only_when_every_tree_is_accounted_for():
    talk = Dialogue()
    for tag in ("40", "83", "84"):
        assert "Not complete" in says(talk.hear("complete"))
        talk.hear(Meaning("status", tag, status="missing"))
        talk.hear("confirm")
    assert "accounted for" in says(talk.hear("complete"))


def test_warnings_are_in_the_question_and_in_the_saved_reading():
    talk = Dialogue("K1")
    talk.hear(reading("7", "24.3"))
    assert "down 0.7 in 5 years" in in_english.told(talk.memory.said)
    (record,) = saves(talk.hear("confirm"))
    assert record.warnings == ("shrunk",)


def test_the_former_diameter_never_changes_the_value():
    for value in ("24.6", "2.46", "246", "77.3", "61.0"):
        talk = Dialogue("K1")
        talk.hear(reading("7", value))
        assert talk.memory.pending.draft.raw == Decimal(value)


def test_tree_in_hand_and_replay():
    talk = pending()
    plot = SURVEY.plots["K2"]
    assert tree_in_hand(talk.memory, plot) is plot.trees["83"]
    assert tree_in_hand(Memory(), plot) is None
    assert replayed(SURVEY, talk.events) == talk.memory


def test_where_tells_the_last_reading_of_this_plot_only():
    talk = Dialogue("K1")
    talk.hear(reading("83", "24.6"))
    talk.hear("accept")
    talk.open("K2")
    assert "Nothing saved yet" in says(talk.hear("where"))
    talk.hear(reading("84", "18.2"))
    talk.hear("confirm")
    assert "Last saved 84, 18.2" in says(talk.hear("where"))


def test_an_undo_is_of_who_said_it_and_when():
    talk = pending()
    talk.hear("confirm", audio="a" * 64)
    talk.open("K2", "M.O.")
    talk.hear("undo")
    (void,) = saves(talk.hear("accept", words="accept", source="voice", audio="b" * 64))
    assert (void.void, void.who, void.words, void.source) == (True, "M.O.", "accept", "voice")
    assert void.audio == "b" * 64
    assert (void.tag, void.value) == ("83", Decimal("24.6")), "what is taken back"
