"""The session's rules, all in one table: ``step(memory, event) -> (memory, effects)``.

Pure: no clock, thread, file or log. Feeding the same events to a fresh session gives the same
effects. Five rules stand above the table:

1. A reading is saved by a confirmation that follows its own echo, and by nothing else.
2. Nothing is overwritten: an undo or a second reading supersedes the first, and is echoed and
   accepted like it.
3. What was not understood changes nothing that is saved or pending, and is said aloud.
4. After a callout that was refused or unclear no tree is in hand: the next must name its own.
5. Whatever a yes would store is in the echo, and in every repetition of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from callout.core.checking import checks
from callout.core.events import Event, Opened, Say, TimedOut
from callout.core.meaning import Meaning
from callout.core.saying import Saying, Says, saying
from callout.core.told import about_told, command_told
from callout.session import calls, notes, numbers, presses, saving
from callout.session.phase import Phase
from callout.session.state import Memory, Survey, left_to_do
from callout.session.tags import by_roster_tag
from callout.session.tags import let_go as let_go_tag
from callout.session.told import answers, asides, echo
from callout.session.told.asides import overheard
from callout.session.turn import Result, Turn, asked, note_asked, refused

MOST_REMINDERS = 2


def step(survey: Survey, memory: Memory, event: Event) -> Result:
    """The state after ``event`` and what the edges must do, in order."""
    if isinstance(event, Opened):
        return _opened(survey, memory, event)
    if memory.phase is Phase.CLOSED or overheard(memory, event):
        return memory, ()
    rules = survey.rules_of(memory.plot)
    if isinstance(event, TimedOut):
        return (memory, ()) if memory.paused else _timed_out(memory, event, float(rules.join_s))
    plot = survey.plots[memory.plot]
    memory, treeless = replace(memory, treeless=None), memory.treeless
    if memory.listens_for_a_note and event.source == "voice":
        return notes.listened(memory, event)
    if event.problem is not None or len(event.meanings) != 1:
        said = event.problem or saying("say-again")
        # A tape press that was not taken says nothing about the tree.
        set_aside = event.source == "tape"
        return asked(memory, said, "refused") if set_aside else refused(memory, rules, said)
    meaning = by_roster_tag(memory, plot, event.meanings[0])
    turn = Turn(memory, plot, rules, event, meaning, treeless)
    if rules.edition > 1 and memory.phase is Phase.MEMO and meaning.kind not in _IN_A_NOTE:
        left, effects = _answered(replace(turn, memory=notes.left(memory)))
        return left, (notes.not_kept(memory), *effects)
    return _answered(turn)


def _answered(turn: Turn) -> Result:
    memory, kind = turn.memory, turn.meaning.kind
    # In the first edition notes had no answers of their own.
    phase = None if turn.edition == 1 and memory.phase is Phase.MEMO else memory.phase
    handler = TABLE.get((phase, kind)) or TABLE.get((None, kind))
    if handler is None:
        return asked(memory, _nothing_to_do(turn.meaning), "refused")
    return handler(turn)


# ---- opening, waiting ----


def _opened(survey: Survey, memory: Memory, event: Opened) -> Result:
    plot = survey.plots[event.plot]
    if memory.plot == event.plot and memory.pending is not None:
        question = echo.question(memory.pending)
        kept = replace(
            memory,
            who=event.who,
            phase=Phase.PENDING,
            memo=None,
            said=question,
            reminded=0,
            paused=False,
        )
        return kept, (Say(echo.still_waiting(memory.pending), "ask"),)
    fresh = Memory(
        phase=Phase.IDLE,
        plot=event.plot,
        who=event.who,
        saved=memory.saved,
        done=memory.done,
        lost_tags=memory.lost_tags,
        elsewhere=memory.saved_elsewhere(event.plot),
    )
    about = about_told(plot.settings)
    said = (
        *echo.dropped(memory.press),
        *echo.let_go(memory.pending),
        saying("plot", plot=event.plot),
        *([about] if about is not None else []),
        echo.left(left_to_do(fresh, plot)),
    )
    changed = None if survey.rules_of(event.plot).blind else checks.standard_changed(plot)
    if changed is not None:
        said = (*said, changed.says, *([changed.look] if changed.look is not None else []))
    return replace(fresh, said=said), (Say(said),)


def _timed_out(memory: Memory, event: TimedOut, join_s: float) -> Result:
    """Remind, a few times; silence neither saves nor drops a pending reading."""
    if memory.listens_for_a_note:
        return notes.silent(memory)
    if memory.press is not None and presses.expired(memory, event.at, join_s):
        return asked(replace(memory, press=None), echo.too_late(memory.press), "refused")
    waits = _waits_for(memory)
    if not waits or memory.reminded >= MOST_REMINDERS:
        return memory, ()
    kept = replace(memory, reminded=memory.reminded + 1)
    return kept, (Say(echo.again(waits), "ask"),)


def _waits_for(memory: Memory) -> Says:
    """The whole question that is asked again after a silence."""
    if memory.phase is Phase.MEMO:
        return note_asked(memory)
    if memory.pending is not None:
        return echo.question(memory.pending)
    if memory.phase is Phase.NAMED:
        return memory.said
    return (echo.whose(memory.press),) if memory.press is not None else ()


def _nothing_to_do(meaning: Meaning) -> Saying:
    if meaning.kind in ("confirm", "accept", "reject", "scratch"):
        return saying("nothing-waits")
    return saying("cannot-be-done", command=command_told(meaning.kind))


# ---- letting go ----


def _reject(turn: Turn) -> Result:
    """A no: keep the tree in hand and ask for its diameter again."""
    pending, here = turn.memory.pending, turn.memory.plot
    assert pending is not None
    if pending.draft.void:
        return _scratch(turn)
    tag = pending.draft.tag
    kept = let_go_tag(turn.memory, here, tag)
    also = kept.lost_tags != turn.memory.lost_tags
    stem = pending.draft.stem
    said = echo.rejected(replace(turn, memory=kept).shown(tag), also)
    memory = replace(
        kept,
        phase=Phase.NAMED,
        pending=None,
        named=tag,
        stem=stem,
        named_at=turn.event.at,
        drafted=pending.draft,
        said=said,
        reminded=0,
    )
    return memory, (Say(said, "refused"),)


def _scratch(turn: Turn) -> Result:
    """Let go of whatever is pending or in hand; nothing is saved."""
    memory, pending = turn.memory, turn.memory.pending
    tag = pending.draft.tag if pending is not None else memory.named
    if turn.meaning.tag not in (None, tag):
        return asked(memory, saying("waits-not", tag=turn.shown(str(turn.meaning.tag))), "refused")
    undoing = pending is not None and pending.draft.void
    scratched = saying("scratched-undo") if undoing else saying("scratched")
    memory = replace(
        memory if tag is None or undoing else let_go_tag(memory, memory.plot, tag),
        phase=Phase.IDLE,
        pending=None,
        named=None,
        stem="",
        named_at="",
        drafted=None,
        said=(scratched,),
    )
    said = (*echo.dropped(memory.press), scratched)
    return replace(memory, press=None), (Say(said, "refused"),)


def _drop_press(turn: Turn) -> Result:
    """With no tree in hand, only a press of the tape can be dropped."""
    if turn.meaning.tag is not None:
        said = saying("waits-not", tag=turn.shown(turn.meaning.tag))
        return asked(turn.memory, said, "refused")
    if turn.memory.press is None:
        return asked(turn.memory, _nothing_to_do(turn.meaning), "refused")
    return _scratch(turn)


def _skip(turn: Turn) -> Result:
    """Leave the tree in hand, or one that is named; it stays on the list."""
    pending = turn.waiting
    tag = pending.draft.tag if pending is not None else turn.memory.named
    if turn.meaning.tag not in (None, tag):
        return _skip_another(turn, str(turn.meaning.tag))
    if tag is None or turn.memory.phase is Phase.IDLE:  # what was saved cannot be skipped
        return refused(turn.memory, turn.rules, saying("nothing-to-skip"))
    skipped = saying("skipped", tag=turn.shown(tag))
    memory = replace(
        turn.memory,
        phase=Phase.IDLE,
        pending=None,
        named=None,
        stem="",
        named_at="",
        drafted=None,
        skipped=(*turn.memory.skipped, tag),
        said=(skipped,),
    )
    return memory, (Say((skipped,)),)


def _skip_another(turn: Turn, tag: str) -> Result:
    if tag not in turn.plot.trees:
        return asked(turn.memory, saying("warn-unknown-tag", tag=turn.shown(tag)), "refused")
    memory = replace(turn.memory, skipped=(*turn.memory.skipped, tag))
    return asked(memory, saying("skipped", tag=turn.shown(tag)), "told")


Handler = Callable[[Turn], Result]

# (phase, kind of meaning) -> handler; None: every phase that has no row of its own.
TABLE: dict[tuple[Phase | None, str], Handler] = {
    (None, "reading"): calls.reading,
    (None, "tree"): calls.named_only,
    (None, "new"): calls.new_tree,
    (None, "status"): calls.status,
    (Phase.NAMED, "size"): numbers.for_tree_in_hand,
    (Phase.PENDING, "size"): numbers.for_tree_in_hand,
    (None, "size"): numbers.alone,
    (None, "amend"): numbers.for_tree_in_hand,
    (None, "species"): calls.species,
    (Phase.PENDING, "height"): calls.height,
    (None, "retag"): calls.lost_tag,
    (None, "press"): presses.pressed,
    (Phase.PENDING, "confirm"): saving.confirm,
    (Phase.PENDING, "accept"): saving.accept,
    (Phase.PENDING, "reject"): _reject,
    (Phase.PENDING, "scratch"): _scratch,
    (Phase.PENDING, "undo"): _scratch,
    (Phase.NAMED, "reject"): _scratch,
    (Phase.NAMED, "scratch"): _scratch,
    (Phase.IDLE, "reject"): _drop_press,
    (Phase.IDLE, "scratch"): _drop_press,
    (None, "undo"): saving.undo,
    (None, "skip"): _skip,
    (Phase.MEMO, "confirm"): notes.keep,
    (Phase.MEMO, "accept"): notes.keep,
    (Phase.MEMO, "reject"): notes.drop,
    (Phase.MEMO, "scratch"): notes.drop,
    (Phase.MEMO, "undo"): notes.drop,
    (Phase.MEMO, "skip"): notes.drop,
    (None, "repeat"): answers.repeat,
    (None, "left"): answers.left,
    (None, "next"): asides.following,
    (None, "last"): asides.last_time,
    (Phase.PENDING, "why"): asides.why,
    (None, "help"): asides.what_fits,
    (None, "pause"): asides.pause,
    (None, "resume"): asides.resume,
    (None, "plot"): asides.no_such_plot,
    (None, "where"): asides.where_now,
    (None, "note"): notes.note,
    (Phase.PENDING, "mistag"): calls.other_tag,
    (None, "mistag"): asides.tag_corrected,
    (None, "well"): answers.well,
    (None, "complete"): answers.complete,
}

# Answered while a note is under way, without ending it.
_IN_A_NOTE = frozenset(
    {
        "repeat",
        "left",
        "where",
        "well",
        "complete",
        "note",
        "next",
        "last",
        "help",
        "pause",
        "resume",
        "mistag",
    }
    | {kind for phase, kind in TABLE if phase is Phase.MEMO}
)
