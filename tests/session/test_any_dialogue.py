"""Random dialogues: what must hold whatever is said, in whatever order."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

from harrow_fen import SURVEY, TODAY, Dialogue, press, saves, says
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from session_tools import replayed

from callout.core.meaning import Meaning
from callout.core.model import Reading
from callout.core.saying import as_is
from callout.core.units import Scale, Unit
from callout.session.machine import step
from callout.session.phase import Phase
from callout.session.records import key_of
from callout.session.state import Memory

TAGS = st.sampled_from(["7", "40", "83", "84", "99", "201"])
SIZES = st.decimals(min_value=Decimal("0.1"), max_value=300, places=2)
UNITS = st.sampled_from([None, Unit.INCH, Unit.CENTIMETRE, Unit.MILLIMETRE])
SOURCES = st.sampled_from(["voice", "typed", "key", "tape"])
COMMANDS = st.sampled_from(
    ["confirm", "accept", "reject", "scratch", "undo", "skip", "repeat", "left", "where", "note",
     "complete", "retag"]
)  # fmt: skip


class AnyDialogue(RuleBasedStateMachine):
    """The test keeps its own journal of readings, and what was last asked, beside the session's."""

    def __init__(self) -> None:
        super().__init__()
        self.talk = Dialogue()
        self.journal: list[Reading] = []
        self.asked = self.word = ""

    def after(self, before: Memory, effects: tuple, may_save: bool) -> None:
        found = saves(effects)
        assert len(found) <= 1
        if found:
            assert may_save
            (record,) = found
            assert record.entry == self.talk.entry - 1
            if record.void:
                assert self.word == "accept"
                assert f"undo {record.tag_now}".lower() in self.asked.lower()
            else:
                self.check_saved(before, record)
            self.journal.append(record)
        for effect in effects:
            told = says([effect])
            if "Confirm?" in told or "Accept?" in told:
                self.asked = told
        assert (self.talk.memory.pending is not None) == (
            self.talk.memory.phase is Phase.PENDING
            or (self.talk.memory.phase is Phase.MEMO and self.talk.memory.resume is Phase.PENDING)
        )

    def check_saved(self, before: Memory, record: Reading) -> None:
        """It is what the last question told, and it supersedes what stood for that stem."""
        assert before.phase is Phase.PENDING
        assert before.pending is not None
        assert (record.raw, record.value) == (before.pending.draft.raw, before.pending.draft.value)
        told = record.value if record.value is not None else record.status.replace("_", " ")
        for part in (told, record.tag, record.height_m, record.stem):
            assert f"{part or ''}" in self.asked
        if record.is_new:
            assert "new tree" in self.asked.casefold() and record.species in self.asked
        if record.raw is not None and record.raw_scale == "girth":
            assert "girth" in self.asked
        stood = before.saved.get(key_of(record))
        assert not stood or self.word == "accept", "what is saved is changed by accept alone"
        assert record.supersedes == (stood.entry if stood else None)

    def say(self, *meanings: Meaning, may_save: bool = False, **more: object) -> None:
        before = self.talk.memory
        self.word = meanings[0].kind if len(meanings) == 1 else ""
        self.after(before, self.talk.hear(*meanings, **more), may_save)

    @rule(tag=TAGS, value=SIZES, unit=UNITS, stem=st.sampled_from([None, None, "2"]), by=SOURCES)
    def reading(self, tag, value, unit, stem, by):
        self.say(Meaning("reading", tag, value, unit, stem=stem), source=by)

    @rule(tag=TAGS, value=st.none() | SIZES, species=st.sampled_from([None, "beech"]))
    def new(self, tag, value, species):
        self.say(Meaning("new", tag, value, species=species))

    @rule(tag=TAGS, stem=st.sampled_from([None, None, "2"]))
    def name(self, tag, stem):
        self.say(Meaning("tree", tag, stem=stem))

    @rule(tag=st.none() | st.none() | TAGS, value=SIZES, unit=UNITS, tape=st.sampled_from("ab"),
          after_s=st.sampled_from([-5, 0, 0, 5, 40]))  # fmt: skip
    def pressed(self, tag, value, unit, tape, after_s):
        """A press never saves, and never goes to another tree than the one in hand."""
        before = self.talk.memory
        at = (datetime.fromisoformat(TODAY) + timedelta(seconds=after_s)).isoformat()
        self.say(replace(press(str(value), tag), unit=unit), source="tape", engine=tape,
                 pressed_at=at)  # fmt: skip
        after = self.talk.memory
        if after.pending != before.pending and after.pending is not None:
            assert after.pending.draft.tag in (tag, before.named)

    @rule(tag=TAGS, value=SIZES, side=st.sampled_from(list(Scale)))
    def side_said(self, tag, value, side):
        self.say(Meaning("reading", tag, value, scale=side))

    @rule(text=st.sampled_from(["a fork at two metres", "bark loose"]), tag=st.none() | TAGS)
    def note_typed(self, text, tag):
        self.say(Meaning("note", tag, text=text))

    @rule(kind=st.sampled_from(["size", "amend"]), value=SIZES, by=SOURCES)
    def only_size(self, kind, value, by):
        self.say(Meaning(kind, value=value), source=by)

    @rule(tag=st.none() | TAGS, status=st.sampled_from(["live", "dead_standing", "missing"]))
    def status(self, tag, status):
        self.say(Meaning("status", tag, status=status))

    @rule(metres=st.decimals(min_value=1, max_value=3, places=2))
    def height(self, metres):
        self.say(Meaning("height", height_m=metres))

    @rule(kind=COMMANDS, by=SOURCES)
    def command(self, kind, by):
        before = self.talk.memory
        may_save = kind in ("confirm", "accept") and before.phase is Phase.PENDING
        self.say(Meaning(kind), may_save=may_save, source=by)

    @rule(by=SOURCES)
    def confirm(self, by):
        before = self.talk.memory
        waits = before.pending if before.phase is Phase.PENDING else None
        self.say(Meaning("confirm"), may_save=waits is not None, source=by)
        if waits is not None and not waits.wants_accept:
            assert self.talk.memory.saved[key_of(self.journal[-1])] == self.journal[-1]

    @rule(meanings=st.lists(st.sampled_from(
        [Meaning("confirm"), Meaning("undo"), Meaning("reading", "83", Decimal(24))]
    ), max_size=3).filter(lambda many: len(many) != 1))  # fmt: skip
    def doubt(self, meanings):
        before = self.talk.memory
        self.say(*meanings)
        self.nothing_but_the_hand_changed(before)

    @rule(meaning=st.sampled_from([Meaning("confirm"), Meaning("undo")]))
    def problem(self, meaning):
        before = self.talk.memory
        self.say(meaning, problem=as_is("not sure what was said"))
        self.nothing_but_the_hand_changed(before)

    def nothing_but_the_hand_changed(self, before):
        after = self.talk.memory
        same = ("pending", "saved", "done", "press", "memo", "lost_tags", "plot", "who")
        assert all(getattr(after, name) == getattr(before, name) for name in same)
        assert after.phase is not Phase.NAMED
        assert after.named is None or after.phase is Phase.MEMO

    @rule(about=st.sampled_from([0, 1, 2, 3]))
    def an_answer_to_another_echo(self, about):
        before = self.talk.memory
        self.say(Meaning("accept"), about=about, may_save=about == before.asking)
        if about != before.asking and before.phase is Phase.PENDING:
            # A size without a tree is for the very next word; all else stays.
            assert self.talk.memory == replace(before, treeless=None)

    @rule()
    def silence(self):
        before = self.talk.memory
        self.after(before, self.talk.wait(), may_save=False)
        assert self.talk.memory.pending == before.pending
        assert self.talk.memory.saved == before.saved

    @rule(plot=st.sampled_from(["K1", "K2"]), who=st.sampled_from(["R.V.", "M.O."]))
    def open(self, plot, who):
        before = self.talk.memory
        effects = self.talk.open(plot, who)
        self.after(before, effects, may_save=False)
        if before.pending is not None and self.talk.memory.pending is None:
            assert "was not saved" in says(effects)

    @invariant()
    def every_callout_is_answered(self):
        last = self.talk.events[-1]
        assert self.talk.effects[-1] or type(last).__name__ == "TimedOut"

    @invariant()
    def what_was_drafted_is_of_the_tree_in_hand(self):
        memory = self.talk.memory
        assert memory.drafted is None or memory.drafted.tag == memory.named

    @invariant()
    def what_asks_has_its_time(self):
        assert (self.talk.memory.asked_at == "") == (self.talk.memory.asking == 0)

    @invariant()
    def what_stands_follows_from_the_journal_alone(self):
        """Void entries take back what they supersede; the newest of the rest stands."""
        standing: dict[tuple[str, str, str], list[Reading]] = {}
        for record in self.journal:
            stack = standing.setdefault(key_of(record), [])
            if record.void:
                assert stack.pop().entry == record.supersedes
            else:
                stack.append(record)
        assert self.talk.memory.saved == {key: all_[-1] for key, all_ in standing.items() if all_}

    def teardown(self):
        """The same events give the same memory and the same effects."""
        memory, effects = Memory(), []
        for event in self.talk.events:
            memory, told = step(SURVEY, memory, event)
            effects.append(told)
        assert memory == self.talk.memory == replayed(SURVEY, self.talk.events)
        assert effects == self.talk.effects


TestAnyDialogue = AnyDialogue.TestCase
TestAnyDialogue.settings = settings(max_examples=120, stateful_step_count=40, deadline=None)
