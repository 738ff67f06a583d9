"""Saving what was confirmed, and taking back what was saved: the only ways to a ``Save``."""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Effect, Save, Say
from callout.core.model import Reading, Warned
from callout.core.saying import saying
from callout.session.draft import warnings_of_history
from callout.session.phase import Phase
from callout.session.propose import put
from callout.session.records import key_of
from callout.session.state import Memory, Pending, left_to_do
from callout.session.tags import let_go as let_go_tag
from callout.session.told import echo
from callout.session.turn import Result, Turn, asked, out_of_hand, refused
from callout.session.walk import next_tree, passed_over


def confirm(turn: Turn) -> Result:
    """Save the pending reading; where a warning stands, only its own word does."""
    pending = turn.memory.pending
    assert pending is not None
    if _meant_for_another(turn, pending):
        return asked(turn.memory, saying("that-has-changed"), "ask")
    if pending.wants_accept:
        return turn.memory, (Say(echo.not_yet(pending), "ask"),)
    return accept(turn)


def accept(turn: Turn) -> Result:
    """Save the pending reading, warned or not; the names of its warnings go into the row."""
    pending = turn.memory.pending
    assert pending is not None
    if _meant_for_another(turn, pending):
        return asked(turn.memory, saying("that-has-changed"), "ask")
    return _take_back(turn, pending) if pending.draft.void else _save(turn, pending)


def _meant_for_another(turn: Turn, pending: Pending) -> bool:
    """Whether the yes was for an echo since replaced by a newer one, or for none."""
    return turn.event.about not in (None, pending.number)


def _save(turn: Turn, pending: Pending) -> Result:
    before = turn.memory.saved.get(key_of(pending.draft))
    late = _late(turn, pending.draft)
    # A reading repeated with its new tag brings the warnings that were accepted before.
    taken = (*pending.draft.warnings, *(item.check for item in (*pending.warned, *late)))
    reading = replace(
        pending.draft,
        entry=turn.event.entry,
        at=turn.event.at,
        warnings=tuple(dict.fromkeys(taken)),
        supersedes=before.entry if before else None,
    )
    here, is_saved = turn.memory.plot, echo.saved(reading)
    memory = replace(
        let_go_tag(turn.memory, reading.plot, reading.tag),
        phase=Phase.IDLE,
        pending=None,
        named=reading.tag,
        drafted=pending.draft,
        saved=turn.memory.saved.having(reading),
        done=turn.memory.done.having(here, (*turn.memory.undoable, reading)),
        said=(is_saved, *(echo.late(reading, late) if late else ())),
    )
    told = [Say((is_saved,), "saved")]
    told += [Say(echo.late(reading, late))] if late else _onwards(turn, memory, reading)
    return memory, (Save(reading), *told)


def _late(turn: Turn, draft: Reading) -> tuple[Warned, ...]:
    """Look at history after the save, since a blind plot must not do so before."""
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


# ---- taking back ----


def undo(turn: Turn) -> Result:
    """Take back the last saved reading by a new entry; the one it superseded stands again."""
    last = turn.memory.latest
    if last is None:
        return refused(turn.memory, turn.rules, saying("nothing-to-undo"))
    pending = Pending(
        replace(last, entry=turn.event.entry, supersedes=last.entry, void=True),
        (),
        turn.rules.accept_word,
        last,
        turn.rules.blind,
        _standing_before(turn.memory, last),
        asked_at=turn.event.at,
    )
    if turn.edition == 1:
        return _take_back(turn, pending)
    memory, effects = put(turn, pending)
    return replace(memory, named=None, stem="", drafted=None, named_at=""), effects


def _take_back(turn: Turn, pending: Pending) -> Result:
    event, stands = turn.event, pending.stands
    # The row keeps the reading as it was read, but who took it back, and how, is of now.
    taken_back = replace(
        pending.draft,
        entry=event.entry,
        at=event.at,
        who=turn.memory.who,
        words=event.words,
        source=event.source,
        engine=event.engine,
        confidence=event.confidence,
        audio=event.audio,
    )
    key, here = key_of(taken_back), turn.memory.plot
    saved = turn.memory.saved
    last = turn.memory.undoable[-1]
    said = echo.undone(last, stands, pending.hidden)
    memory = replace(
        turn.memory,
        saved=saved.lacking(key) if stands is None else saved.having(stands),
        done=turn.memory.done.having(here, turn.memory.undoable[:-1]),
        said=said,
    )
    if turn.edition > 1:
        memory = replace(out_of_hand(memory), phase=Phase.IDLE, pending=None)
    effects: tuple[Effect, ...] = (Save(taken_back), Say(said, "saved"))
    return memory, effects


def _standing_before(memory: Memory, last: Reading) -> Reading | None:
    earlier = (item for item in reversed(memory.undoable[:-1]) if key_of(item) == key_of(last))
    return next(earlier, None)
