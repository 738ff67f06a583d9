"""The session's rules, all in one table: ``step(memory, event) -> (memory, effects)``.

Pure: no clock, thread, file or log. An event in, a new memory and the effects out; feeding the
same events to a fresh session gives the same effects. Three rules stand above the table:

1. A reading is saved by a confirmation that follows its own echo, and by nothing else.
2. Nothing is overwritten: an undo or a second reading supersedes what stood before.
3. What was not understood changes nothing, and is said aloud.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from callout.core import checks
from callout.core.events import Effect, Event, Opened, Save, Say, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import Plot, Reading, Tree, Warned
from callout.session import answers, calls, echo
from callout.session.draft import key_of, warnings_of_history
from callout.session.propose import let_go, which_tree
from callout.session.state import Memory, Phase, Survey, left_to_do
from callout.session.tags import by_roster_tag, tag_shown
from callout.session.tags import let_go as let_go_tag
from callout.session.turn import Result, Turn, asked
from callout.session.walk import next_tree, passed_over

MOST_REMINDERS = 2


def step(survey: Survey, memory: Memory, event: Event) -> Result:
    """The state after ``event`` and what the edges must do, in order."""
    if isinstance(event, Opened):
        return _opened(survey, memory, event)
    if memory.phase is Phase.CLOSED:
        return memory, ()
    if isinstance(event, TimedOut):
        return _timed_out(memory)
    plot = survey.plots[memory.plot]
    if memory.phase is Phase.MEMO and event.source == "voice":
        return answers.memo(memory, event)
    if event.problem is not None or len(event.meanings) != 1:
        return asked(memory, event.problem or "say again", "refused")
    meaning = by_roster_tag(memory, plot, event.meanings[0])
    turn = Turn(memory, plot, survey.rules_of(memory.plot), event, meaning)
    handler = TABLE.get((memory.phase, turn.meaning.kind)) or TABLE.get((None, turn.meaning.kind))
    if handler is None:
        return asked(memory, _nothing_to_do(memory, turn.meaning), "refused")
    return handler(turn)


# ---- opening, waiting ----


def _opened(survey: Survey, memory: Memory, event: Opened) -> Result:
    plot = survey.plots[event.plot]
    if memory.plot == event.plot and memory.pending is not None:
        question = echo.question(memory.pending)
        kept = replace(memory, who=event.who, phase=Phase.PENDING, said=question, reminded=0)
        return kept, (Say(f"Still waiting: {question}", "ask"),)
    fresh = Memory(
        phase=Phase.IDLE,
        plot=event.plot,
        who=event.who,
        saved=memory.saved,
        undoable=memory.undoable,
        lost_tags=memory.lost_tags,
    )
    lost = let_go(memory.pending)
    about = f" {plot.settings.about}." if plot.settings.about else ""
    said = f"{lost}Plot {event.plot}.{about} {echo.left(left_to_do(fresh, plot))}"
    changed = None if survey.rules_of(event.plot).blind else checks.standard_changed(plot)
    if changed is not None:
        said += f" {changed.says[:1].upper()}{changed.says[1:]}: {changed.look}"
    return replace(fresh, said=said), (Say(said),)


def _timed_out(memory: Memory) -> Result:
    """Remind, a few times; a pending reading is neither saved nor dropped by silence."""
    waiting = memory.phase in (Phase.PENDING, Phase.NAMED)
    if memory.phase is Phase.MEMO:
        return replace(memory, phase=memory.resume), (Say("No note heard."),)
    if not waiting or memory.reminded >= MOST_REMINDERS:
        return memory, ()
    kept = replace(memory, reminded=memory.reminded + 1)
    return kept, (Say(f"Still waiting: {memory.said}", "ask"),)


def _nothing_to_do(memory: Memory, meaning: Meaning) -> str:
    if meaning.kind in ("confirm", "accept", "reject", "scratch"):
        return "nothing waits for confirmation"
    if meaning.kind in ("size", "amend"):
        return "which tree? say tree and its tag"
    return f"{meaning.kind} cannot be done now"


# ---- saving, and taking back ----


def _confirm(turn: Turn) -> Result:
    """Save what waits; where a warning stands, only its own word does."""
    pending = turn.memory.pending
    assert pending is not None
    if pending.wants_accept:
        return turn.memory, (Say(echo.not_yet(pending), "ask"),)
    return _accept(turn)


def _accept(turn: Turn) -> Result:
    """Save what waits, warned or not: the names of its warnings stand in the row."""
    pending = turn.memory.pending
    assert pending is not None
    if turn.event.about not in (None, pending.draft.entry):
        # The yes was meant for an echo that something newer has replaced.
        return asked(turn.memory, "that has changed", "ask")
    before = turn.memory.saved.get(key_of(pending.draft))
    late = _late(turn, pending.draft)
    # A reading said again with its new tag brings the warnings that were taken before.
    taken = (*pending.draft.warnings, *(item.check for item in (*pending.warned, *late)))
    reading = replace(
        pending.draft,
        entry=turn.event.entry,
        at=turn.event.at,
        warnings=tuple(dict.fromkeys(taken)),
        supersedes=before.entry if before else None,
    )
    memory = replace(
        let_go_tag(turn.memory, reading.plot, reading.tag),
        phase=Phase.IDLE,
        pending=None,
        saved={**turn.memory.saved, key_of(reading): reading},
        undoable=(*turn.memory.undoable, reading),
        said=" ".join([echo.saved(reading), *([echo.late(reading, late)] if late else [])]),
    )
    told = [Say(echo.saved(reading), "saved")]
    told += [Say(echo.late(reading, late))] if late else _onwards(turn, memory, reading)
    return memory, (Save(reading), *told)


def _late(turn: Turn, draft: Reading) -> tuple[Warned, ...]:
    """In a blind plot history is looked at now, and not before."""
    if not turn.rules.blind:
        return ()
    return warnings_of_history(turn.memory, turn.plot, turn.rules, draft)


def _onwards(turn: Turn, memory: Memory, reading: Reading) -> list[Say]:
    """The next tree of the list; after one stem of several, the tree may not be done."""
    if not turn.rules.walk or reading.stem:
        return []
    passed = passed_over(turn.memory, turn.plot, reading.tag)
    following = next_tree(memory, turn.plot, reading.tag)
    return [Say(echo.walk(passed, following, left_to_do(memory, turn.plot)))]


def _reject(turn: Turn) -> Result:
    """Not what was meant: keep the tree in hand and ask for its diameter again."""
    tag, here = str(turn.memory.named), turn.memory.plot
    kept = let_go_tag(turn.memory, here, tag)
    also = ", its new tag too" if kept.lost_tags != turn.memory.lost_tags else ""
    said = f"Not saved. Tree {tag_shown(kept, here, tag)}: say it again{also}."
    memory = replace(kept, phase=Phase.NAMED, pending=None, said=said, reminded=0)
    return memory, (Say(said, "refused"),)


def _scratch(turn: Turn) -> Result:
    memory = replace(
        let_go_tag(turn.memory, turn.memory.plot, str(turn.memory.named)),
        phase=Phase.IDLE,
        pending=None,
        named=None,
        drafted=None,
        said="Scratched.",
    )
    return memory, (Say("Scratched, nothing saved.", "refused"),)


def _undo(turn: Turn) -> Result:
    """Take back the last saved reading by a new entry; what it superseded stands again."""
    last = turn.memory.undoable[-1] if turn.memory.undoable else None
    if last is None or last.plot != turn.memory.plot:
        return asked(turn.memory, "nothing to undo in this plot", "refused")
    event = turn.event
    # What is taken back stays as it was read; who took it back, and how, is of now.
    taken_back = replace(
        last, entry=event.entry, at=event.at, supersedes=last.entry, void=True,
        who=turn.memory.who, words=event.words, source=event.source, engine=event.engine,
        confidence=event.confidence, audio=event.audio,
    )  # fmt: skip
    stands = _standing_before(turn.memory, last)
    saved = {key: item for key, item in turn.memory.saved.items() if key != key_of(last)}
    effects: tuple[Effect, ...] = (Save(taken_back),)
    said = f"Undone: {echo.told(last)} is taken back."
    if stands is not None:
        saved[key_of(last)] = stands
        # In a blind plot it may be another measurer's.
        told = f"the reading before of {last.tag_now}" if turn.rules.blind else echo.told(stands)
        said += f" {told[:1].upper()}{told[1:]} stands again."
    memory = replace(turn.memory, saved=saved, undoable=turn.memory.undoable[:-1], said=said)
    return memory, (*effects, Say(said, "saved"))


def _standing_before(memory: Memory, last: Reading) -> Reading | None:
    earlier = [item for item in memory.undoable[:-1] if key_of(item) == key_of(last)]
    return earlier[-1] if earlier else None


def _skip(turn: Turn) -> Result:
    tag = turn.memory.named
    if tag is None or turn.memory.phase is Phase.IDLE:  # what was saved cannot be skipped
        return asked(turn.memory, "no tree in hand to skip", "refused")
    shown = tag_shown(turn.memory, turn.memory.plot, tag)
    memory = replace(
        turn.memory, phase=Phase.IDLE, pending=None, named=None, drafted=None,
        skipped=(*turn.memory.skipped, tag), said=f"Skipped {shown}.",
    )  # fmt: skip
    return memory, (Say(f"Skipped {shown}; it stays on the list."),)


Handler = Callable[[Turn], Result]

# (phase, kind of meaning) -> handler; None stands for every phase that has no row of its own.
TABLE: dict[tuple[Phase | None, str], Handler] = {
    (None, "reading"): calls.reading,
    (None, "tree"): calls.named_only,
    (None, "new"): calls.new_tree,
    (None, "status"): calls.status,
    (Phase.NAMED, "size"): calls.amend,
    (Phase.PENDING, "size"): calls.amend,
    (Phase.IDLE, "size"): which_tree,
    (None, "amend"): calls.amend,
    (Phase.PENDING, "height"): calls.height,
    (None, "retag"): calls.lost_tag,
    (Phase.PENDING, "confirm"): _confirm,
    (Phase.PENDING, "accept"): _accept,
    (Phase.PENDING, "reject"): _reject,
    (Phase.PENDING, "scratch"): _scratch,
    (Phase.PENDING, "undo"): _scratch,
    (Phase.NAMED, "reject"): _scratch,
    (Phase.NAMED, "scratch"): _scratch,
    (None, "undo"): _undo,
    (None, "skip"): _skip,
    (None, "press"): calls.pressed,
    (None, "repeat"): answers.repeat,
    (None, "left"): answers.left,
    (None, "where"): answers.where,
    (None, "note"): answers.note,
    (None, "well"): answers.well,
    (None, "complete"): answers.complete,
}


def replayed(survey: Survey, events: list[Event]) -> Memory:
    """The memory that a session fed these events has; how a restart finds where it stood."""
    memory = Memory()
    for event in events:
        memory, _ = step(survey, memory, event)
    return memory


def tree_in_hand(memory: Memory, plot: Plot) -> Tree | None:
    """The roster's tree that the dialogue is about, if any."""
    tag = memory.pending.draft.tag if memory.pending else memory.named
    return plot.trees.get(tag) if tag else None
