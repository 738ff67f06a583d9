"""Notes about a tree or the plot; the session says whose note it is before it is kept.

A spoken note is asked for and then kept as sound; a typed one is echoed and waits for its yes.
"""

from __future__ import annotations

from dataclasses import replace

from callout.core.events import Heard, KeepMemo, Say
from callout.core.saying import Says, saying
from callout.session.phase import Phase
from callout.session.state import Memory
from callout.session.tags import known_tags
from callout.session.told import echo, note_echo
from callout.session.turn import Result, Turn, asked, note_about, note_asked, out_of_hand, refused


def note(turn: Turn) -> Result:
    """Ask for a note about the tree in hand, or echo the one that was typed."""
    memory = turn.memory
    back = memory.resume if memory.phase is Phase.MEMO else memory.phase
    tag = turn.meaning.tag or memory.named
    if turn.meaning.tag is not None and tag not in known_tags(memory, turn.plot):
        return refused(memory, turn.rules, saying("read-tag", tag=str(tag)))
    text = turn.meaning.text
    words = KeepMemo(turn.event.entry, turn.event.at, tag, None, text) if text else None
    if turn.meaning.tag is not None and turn.meaning.tag != memory.named:
        return _about_another(turn, str(tag), words)
    return _asked(replace(memory, phase=Phase.MEMO, resume=back, memo=words))


def _about_another(turn: Turn, tag: str, words: KeepMemo | None) -> Result:
    """A tree named with its note is now in hand; a pending reading is let go, and that is said."""
    told = echo.let_go(turn.memory.pending)
    memory = replace(
        turn.memory,
        phase=Phase.MEMO,
        resume=Phase.NAMED,
        memo=words,
        pending=None,
        named=tag,
        stem="",
        named_at=turn.event.at,
        drafted=None,
    )
    return _asked(memory, told)


def _asked(memory: Memory, told: Says = ()) -> Result:
    said = (*told, *note_asked(memory))
    return replace(memory, said=said, reminded=0), (Say(said, "ask"),)


def listened(memory: Memory, event: Heard) -> Result:
    """Keep what comes next as sound, or as typed; it is not a callout."""
    memo = KeepMemo(event.entry, event.at, memory.named, event.audio, event.words)
    return _kept(memory, memo)


def keep(turn: Turn) -> Result:
    """Keep the typed note that was echoed."""
    memo = turn.memory.memo
    if memo is None:
        return turn.memory, (echo.ask(*note_asked(turn.memory)),)
    if turn.event.about not in (None, memo.entry):
        return asked(turn.memory, saying("that-has-changed"), "ask")
    return _kept(turn.memory, replace(memo, entry=turn.event.entry, at=turn.event.at))


def _kept(memory: Memory, memo: KeepMemo) -> Result:
    after, said = left(memory), note_echo.kept(note_about(memory))
    waiting = echo.still_waiting(after.pending) if after.pending is not None else ()
    return after, (memo, Say((said, *waiting), "saved"))


def drop(turn: Turn) -> Result:
    """No note after all."""
    return asked(left(turn.memory), note_echo.dropped(note_about(turn.memory)), "refused")


def left(memory: Memory) -> Memory:
    """The note is over: return to the phase before it."""
    after = replace(memory, phase=memory.resume, memo=None)
    if memory.resume is Phase.NAMED or memory.drafted is not None:
        return after
    return out_of_hand(after)  # something was refused meanwhile, or no tree was in hand


def not_kept(memory: Memory) -> Say:
    """The message that a note was not kept, given before the answer to what came instead."""
    return Say((note_echo.dropped(note_about(memory)),), "refused")


def silent(memory: Memory) -> Result:
    """Nobody spoke the note that was asked for."""
    return asked(left(memory), saying("no-note-heard"), "told")
