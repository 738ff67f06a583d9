"""How a press on a device meets a tree's tag: a pure state machine with its rules in one place.

    the tag, then a press            joined
    a press, then the tag            the press waits and asks for its tree; then joined
    a second press, same device      the later takes the earlier's place; both are kept
    a press of another device        set aside and told: one reading is never swapped for another
    a press while one is pending     the same: same device replaces, another is set aside
    a press that carries a tag       joined to that tag, unless another one was just spoken
    more than ``window_s`` apart     never joined: the press asks, a late tag asks for a press

Nothing here confirms or saves: a joined reading is still echoed and confirmed by the session,
and every press is kept, with what became of it. Time stands on the events; a clock that went
backwards joins nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from callout.devices.measurement import Measurement


@dataclass(frozen=True)
class Rules:
    """``window_s`` is how many seconds may lie between a tag and its press."""

    window_s: float = 30.0


@dataclass(frozen=True)
class TagNamed:
    """Somebody named the tree to measure."""

    at: datetime
    tag: str


@dataclass(frozen=True)
class Pressed:
    """A device sent a reading; its time is the measurement's own."""

    measurement: Measurement


@dataclass(frozen=True)
class Settled:
    """The pending reading was confirmed: its tree is done."""

    at: datetime


@dataclass(frozen=True)
class Dropped:
    """The pending reading was refused or scratched: the tree is to be measured again."""

    at: datetime


@dataclass(frozen=True)
class Ticked:
    """Time passed."""

    at: datetime


JoinEvent = TagNamed | Pressed | Settled | Dropped | Ticked


@dataclass(frozen=True)
class Joined:
    """Echo this reading for this tree; it takes the place of ``instead_of`` (not yet confirmed)."""

    tag: str
    measurement: Measurement
    instead_of: Measurement | None = None


@dataclass(frozen=True)
class AskForTree:
    """A press without a tree: ask whose it is; ``instead_of`` is an earlier press it replaces."""

    measurement: Measurement
    instead_of: Measurement | None = None


@dataclass(frozen=True)
class SetAside:
    """A press that joins nothing: keep it, say ``why``, ask to press again."""

    measurement: Measurement
    why: str


JoinEffect = Joined | AskForTree | SetAside


@dataclass(frozen=True)
class JoinState:
    """What is remembered: the tree named and when, a press that waits, a reading pending."""

    tag: str | None = None
    tag_at: datetime | None = None
    waiting: Measurement | None = None
    pending: Measurement | None = None
    pending_tag: str | None = None


Step = tuple[JoinState, tuple[JoinEffect, ...]]


def step(state: JoinState, event: JoinEvent, rules: Rules) -> Step:
    """The state after ``event``, and what is to be done."""
    if isinstance(event, TagNamed):
        return _tag_named(state, event, rules)
    if isinstance(event, Pressed):
        return _pressed(state, event.measurement, rules)
    if isinstance(event, Settled):
        done = state.pending_tag == state.tag
        tag, tag_at = (None, None) if done else (state.tag, state.tag_at)
        return JoinState(tag, tag_at, state.waiting), ()
    if isinstance(event, Dropped):
        tag = state.tag or state.pending_tag
        return JoinState(tag, event.at if tag else None, state.waiting), ()
    return _ticked(state, event.at, rules)


def _tag_named(state: JoinState, event: TagNamed, rules: Rules) -> Step:
    named = replace(state, tag=event.tag, tag_at=event.at)
    waiting = state.waiting
    if waiting is None:
        return named, ()
    if not _near(waiting.received_at, event.at, rules):
        return replace(named, waiting=None), (SetAside(waiting, "pressed too long ago"),)
    return _join(replace(named, waiting=None), event.tag, event.at, waiting)


def _pressed(state: JoinState, press: Measurement, rules: Rules) -> Step:
    other = _other_device(state, press, rules)
    if other is not None:
        return _two_devices(state, press, other)
    spoken = state.tag if state.tag_at and _near(state.tag_at, press.received_at, rules) else None
    if press.tag and spoken and press.tag != spoken:
        why = f"the device says tree {press.tag}, tree {spoken} was named"
        return state, (SetAside(press, why),)
    tag = press.tag or spoken
    if tag is not None:
        earlier = state.waiting
        kept = (SetAside(earlier, "no tree was named for it"),) if earlier else ()
        after, effects = _join(replace(state, waiting=None), tag, press.received_at, press)
        return after, (*kept, *effects)
    earlier = state.waiting
    if earlier is not None and not _near(earlier.received_at, press.received_at, rules):
        late = SetAside(earlier, "pressed too long ago")
        return replace(state, waiting=press), (late, AskForTree(press))
    return replace(state, waiting=press), (AskForTree(press, instead_of=earlier),)


def _join(state: JoinState, tag: str, at: datetime, press: Measurement) -> Step:
    """Make ``press`` the pending reading of ``tag``; ``at`` keeps the tree named for a re-press."""
    earlier = state.pending if state.pending_tag == tag else None
    after = JoinState(tag, at, None, press, tag)
    return after, (Joined(tag, press, instead_of=earlier),)


def _other_device(state: JoinState, press: Measurement, rules: Rules) -> Measurement | None:
    """A recent press of another device, still waiting or pending."""
    for held in (state.waiting, state.pending):
        recent = held is not None and _near(held.received_at, press.received_at, rules)
        if held is not None and recent and held.device != press.device:
            return held
    return None


def _two_devices(state: JoinState, press: Measurement, other: Measurement) -> Step:
    if other is state.pending:
        why = f"{press.device} was pressed while {other.device} awaits its confirmation"
        return state, (SetAside(press, why),)
    # Neither had a tree: which one the next tag would mean, nobody could tell.
    why = f"{other.device} and {press.device} were both pressed with no tree named"
    return replace(state, waiting=None), (SetAside(other, why), SetAside(press, why))


def _ticked(state: JoinState, now: datetime, rules: Rules) -> Step:
    effects: tuple[JoinEffect, ...] = ()
    if state.tag_at is not None and not _near(state.tag_at, now, rules):
        state = replace(state, tag=None, tag_at=None)
    if state.waiting is not None and not _near(state.waiting.received_at, now, rules):
        effects = (SetAside(state.waiting, "pressed too long ago"),)
        state = replace(state, waiting=None)
    return state, effects


def _near(earlier: datetime, later: datetime, rules: Rules) -> bool:
    return timedelta(0) <= later - earlier <= timedelta(seconds=rules.window_s)
