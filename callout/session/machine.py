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
from functools import partial

from callout.core import checks
from callout.core.events import Effect, Event, Opened, Save, Say, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import Plot, Reading, Tree, Warned
from callout.session import answers, echo
from callout.session.draft import (
    draft_reading,
    key_of,
    known_tags,
    warnings_of_history,
)
from callout.session.state import Memory, Pending, Phase, Survey, left_to_do
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
    turn = Turn(memory, plot, survey.rules_of(memory.plot), event, event.meanings[0])
    handler = TABLE.get((memory.phase, turn.meaning.kind)) or TABLE.get((None, turn.meaning.kind))
    if handler is None:
        return asked(memory, _nothing_to_do(memory, turn.meaning), "refused")
    return handler(turn)


# ---- opening, waiting ----


def _opened(survey: Survey, memory: Memory, event: Opened) -> Result:
    plot = survey.plots[event.plot]
    if memory.plot == event.plot and memory.pending is not None:
        question = f"Still waiting: {echo.question(memory.pending)}"
        kept = replace(memory, who=event.who, phase=Phase.PENDING, said=question, reminded=0)
        return kept, (Say(question, "ask"),)
    fresh = Memory(
        phase=Phase.IDLE,
        plot=event.plot,
        who=event.who,
        saved=memory.saved,
        undoable=memory.undoable,
    )
    lost = _let_go(memory.pending)
    said = f"{lost}Plot {event.plot}. {echo.left(left_to_do(fresh, plot))}"
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


# ---- readings ----


def _propose(turn: Turn, tag: str, meaning: Meaning | None = None) -> Result:
    """Echo a reading and wait. Another tree's pending reading is let go, and that is said."""
    pending = draft_reading(
        turn.memory, turn.plot, turn.rules, turn.event, meaning or turn.meaning, tag
    )
    question = echo.question(pending)
    before = turn.memory.pending
    if before is not None and key_of(before.draft) != key_of(pending.draft):
        question = f"{_let_go(before)}{question}"
    memory = replace(
        turn.memory,
        phase=Phase.PENDING,
        pending=pending,
        named=tag,
        drafted=pending.draft,
        said=question,
        reminded=0,
    )
    return memory, (Say(question, "ask"),)


def _let_go(pending: Pending | None) -> str:
    """A reading that is dropped unconfirmed is said to be, never lost in silence."""
    return f"{echo.told(pending.draft)} was not saved. " if pending is not None else ""


def _which_tree(turn: Turn) -> Result:
    """A size with no tree in hand must not fall to the tree that was saved last."""
    return asked(turn.memory, "which tree? say tree and its tag", "refused")


def _pressed(turn: Turn) -> Result:
    """A digital tape was pressed with no tree in hand: it waits at the desk for its tag."""
    unit = turn.meaning.unit.value if turn.meaning.unit else ""
    return asked(turn.memory, f"tape {turn.meaning.value} {unit}: which tree?", "ask")


def _reading(turn: Turn) -> Result:
    tag = turn.meaning.tag or turn.memory.named
    return _which_tree(turn) if tag is None else _propose(turn, tag)


def _named_only(turn: Turn) -> Result:
    """A tag on its own: wait for its diameter."""
    tag = str(turn.meaning.tag)
    if tag not in known_tags(turn.memory, turn.plot):
        said = f"no tree {tag} in this plot: a new one is called new tree"
        return asked(turn.memory, said, "refused")
    species = turn.plot.trees[tag].species if tag in turn.plot.trees else ""
    lost = _let_go(turn.memory.pending)
    said = f"{lost}Tree {tag}{', ' + species if species else ''}. Diameter?"
    memory = replace(
        turn.memory,
        phase=Phase.NAMED,
        named=tag,
        pending=None,
        drafted=None,
        said=said,
        reminded=0,
    )
    return memory, (Say(said, "ask"),)


def _new_tree(turn: Turn) -> Result:
    if turn.meaning.value is None:
        return asked(turn.memory, "say new tree, its tag and its diameter together", "refused")
    return _propose(turn, str(turn.meaning.tag))


def _amend(turn: Turn) -> Result:
    """A corrected size for the tree in hand; after saving it supersedes, once confirmed.

    Only the size was corrected: the stem, the species and the height of measurement stay.
    """
    tag, draft = turn.memory.named, turn.memory.drafted
    if tag is None:
        return _which_tree(turn)
    if draft is None:
        return _propose(turn, tag)
    same = replace(
        turn.meaning,
        kind="new" if draft.is_new else "reading",
        stem=draft.stem or None,
        species=draft.species or None,
        height_m=draft.height_m,
    )
    return _propose(turn, tag, same)


def _height(turn: Turn) -> Result:
    """The height of measurement belongs to the reading that waits."""
    pending = turn.memory.pending
    assert pending is not None
    # A new number: what is asked now is not what was asked before.
    draft = replace(pending.draft, entry=turn.event.entry, height_m=turn.meaning.height_m)
    kept = Pending(draft, _with_height(turn, pending, draft))
    question = echo.question(kept)
    memory = replace(turn.memory, pending=kept, drafted=kept.draft, said=question, reminded=0)
    return memory, (Say(question, "ask"),)


def _with_height(turn: Turn, pending: Pending, draft: Reading) -> tuple[Warned, ...]:
    """The warnings that waited, but those of history looked at again with the new height."""
    if turn.rules.blind:
        return pending.warned
    of_history = partial(warnings_of_history, turn.memory, turn.plot, turn.rules)
    before = of_history(pending.draft)
    kept = tuple(item for item in pending.warned if item not in before)
    return (*kept, *of_history(draft))


def _confirm(turn: Turn) -> Result:
    pending = turn.memory.pending
    assert pending is not None
    if turn.event.about not in (None, pending.draft.entry):
        # The yes was meant for an echo that something newer has replaced.
        return asked(turn.memory, "that has changed", "ask")
    before = turn.memory.saved.get(key_of(pending.draft))
    late = _late(turn, pending.draft)
    reading = replace(
        pending.draft,
        entry=turn.event.entry,
        at=turn.event.at,
        warnings=tuple(item.check for item in (*pending.warned, *late)),
        supersedes=before.entry if before else None,
    )
    memory = replace(
        turn.memory,
        phase=Phase.IDLE,
        pending=None,
        saved={**turn.memory.saved, key_of(reading): reading},
        undoable=(*turn.memory.undoable, reading),
        said=" ".join([echo.saved(reading), *([echo.late(reading, late)] if late else [])]),
        reminded=0,
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
    tag = turn.memory.named
    said = f"Not saved. Tree {tag}: say it again."
    memory = replace(turn.memory, phase=Phase.NAMED, pending=None, said=said, reminded=0)
    return memory, (Say(said, "refused"),)


def _scratch(turn: Turn) -> Result:
    memory = replace(
        turn.memory,
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
    taken_back = replace(
        last, entry=turn.event.entry, at=turn.event.at, supersedes=last.entry, void=True
    )
    stands = _standing_before(turn.memory, last)
    saved = {key: item for key, item in turn.memory.saved.items() if key != key_of(last)}
    effects: tuple[Effect, ...] = (Save(taken_back),)
    said = f"Undone: {echo.told(last)} is taken back."
    if stands is not None:
        saved[key_of(last)] = stands
        # In a blind plot it may be another measurer's.
        told = f"the reading before of {last.tag}" if turn.rules.blind else echo.told(stands)
        said += f" {told[:1].upper()}{told[1:]} stands again."
    memory = replace(turn.memory, saved=saved, undoable=turn.memory.undoable[:-1], said=said)
    return memory, (*effects, Say(said, "saved"))


def _standing_before(memory: Memory, last: Reading) -> Reading | None:
    earlier = [item for item in memory.undoable[:-1] if key_of(item) == key_of(last)]
    return earlier[-1] if earlier else None


# ---- statuses ----


def _status(turn: Turn) -> Result:
    in_hand = turn.memory.named if turn.memory.phase is not Phase.IDLE else None
    tag = turn.meaning.tag or in_hand
    return _which_tree(turn) if tag is None else _propose(turn, tag)


def _skip(turn: Turn) -> Result:
    tag = turn.memory.named
    if tag is None or turn.memory.phase is Phase.IDLE:  # what was saved cannot be skipped
        return asked(turn.memory, "no tree in hand to skip", "refused")
    memory = replace(
        turn.memory, phase=Phase.IDLE, pending=None, named=None, drafted=None,
        skipped=(*turn.memory.skipped, tag), said=f"Skipped {tag}.",
    )  # fmt: skip
    return memory, (Say(f"Skipped {tag}; it stays on the list."),)


Handler = Callable[[Turn], Result]

# (phase, kind of meaning) -> handler; None stands for every phase that has no row of its own.
TABLE: dict[tuple[Phase | None, str], Handler] = {
    (None, "reading"): _reading,
    (None, "tree"): _named_only,
    (None, "new"): _new_tree,
    (None, "status"): _status,
    (Phase.NAMED, "size"): _amend,
    (Phase.PENDING, "size"): _amend,
    (Phase.IDLE, "size"): _which_tree,
    (None, "amend"): _amend,
    (Phase.PENDING, "height"): _height,
    (Phase.PENDING, "confirm"): _confirm,
    (Phase.PENDING, "accept"): _confirm,
    (Phase.PENDING, "reject"): _reject,
    (Phase.PENDING, "scratch"): _scratch,
    (Phase.PENDING, "undo"): _scratch,
    (Phase.NAMED, "reject"): _scratch,
    (Phase.NAMED, "scratch"): _scratch,
    (None, "undo"): _undo,
    (None, "skip"): _skip,
    (None, "press"): _pressed,
    (None, "repeat"): answers.repeat,
    (None, "left"): answers.left,
    (None, "where"): answers.where,
    (None, "note"): answers.note,
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
