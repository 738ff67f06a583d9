"""The words of the echo: what the second person calls back across the plot.

Wording only; figures arrive settled. Digits are left to the voice, which speaks "24.6" as the
measurer would. Whatever will be stored is in the echo, in the order in which it is called.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from callout.core.events import KeepMemo, Say
from callout.core.model import Reading, Warned
from callout.core.units import Scale, Unit
from callout.session.state import Memory, Pending, Press

# Numbers that end so sound alike in wind and are called back digit by digit as well.
_TEENS = {f"1{digit}" for digit in range(3, 10)}
_TENS = {f"{digit}0" for digit in range(3, 10)}
_UNITS = {
    Unit.INCH: "inches",
    Unit.CENTIMETRE: "centimetres",
    Unit.MILLIMETRE: "millimetres",
    Unit.METRE: "metres",
    Unit.FOOT: "feet",
}
_MEASURED_BEFORE = ("measured today", "measured this visit")


def told(reading: Reading, height_said: str = "") -> str:
    """The tree and all that is stored of it, e.g. ``83, 24.6`` or ``40, dead standing``.

    A tree whose tag was replaced is called by what hangs there now: ``312, was 40, 24.6``.
    """
    return f"{_tree(reading)}, {_rest(reading, height_said)}"


def _rest(reading: Reading, height_said: str = "") -> str:
    """All but the tree."""
    parts = []
    if reading.tag_lost:
        parts.append(reading.tag_note if reading.new_tag else "tag lost")
    if reading.is_new and reading.species:
        parts.append(reading.species)
    return ", ".join([*parts, _what(reading, height_said)])


def _tree(reading: Reading) -> str:
    return f"{reading.tag_now} stem {reading.stem}" if reading.stem else reading.tag_now


def _what(reading: Reading, height_said: str = "") -> str:
    """The size as called and as kept, the height, and the status."""
    if reading.value is None:
        return reading.status_told
    parts = [_size(reading)]
    if reading.height_m:
        at = f"{height_said}, {reading.height_m}" if height_said else f"{reading.height_m}"
        parts.append(f"measured at {at} metres")
    if reading.status != "live":
        parts.append(reading.status_told)
    return ", ".join(parts)


def _size(reading: Reading) -> str:
    """The number called, first; then the diameter that is kept, where it is another."""
    raw, value, raw_unit = reading.raw, reading.value, reading.raw_unit
    if raw is None or value is None or raw_unit is None or not reading.raw_scale:
        return f"{value}"  # from before the side of the tape was kept with it
    other_unit = raw_unit is not reading.unit
    kept = f"{value} {_UNITS[reading.unit]}" if other_unit else f"{value}"
    called = f"{_padded(raw, value)} {_UNITS[raw_unit]}" if other_unit else f"{_padded(raw, value)}"
    if reading.raw_scale == Scale.GIRTH.value:
        return f"girth {called}, diameter {kept}"
    return kept if not other_unit and raw == value else f"{called}, kept as {kept}"


def _padded(raw: Decimal, value: Decimal) -> Decimal:
    """``raw`` with at least the decimal places that are kept: "girth 90" is called back 90.0."""
    fewer = int(raw.as_tuple().exponent) > int(value.as_tuple().exponent)
    return raw.quantize(value) if fewer else raw


def _spelt(reading: Reading) -> str:
    """Sixteen and sixty, 116 and 160: such a tag or size is said digit by digit too."""
    parts = []
    if _sounds_alike(reading.tag_now):
        parts.append("tag " + " ".join(reading.tag_now))
    whole = str(reading.value).partition(".")[0]
    if reading.value is not None and _sounds_alike(whole):
        parts.append("size " + " ".join(whole))
    return ", ".join(parts)


def _sounds_alike(figures: str) -> bool:
    return figures[-2:] in _TEENS | _TENS


def _looks(warned: Sequence[Warned]) -> list[str]:
    """What to look at, each once, as sentences."""
    looks = (item.look.capitalize() for item in warned if item.look)
    return list(dict.fromkeys(look if look[-1] in ".?" else f"{look}." for look in looks))


# ---- a reading that waits ----


def question(pending: Pending) -> str:
    """The echo that asks for confirmation: value, what is suspected, what to look at."""
    return " ".join([f"{_body(pending)}.", *_looks(pending.warned), asks(pending)])


def still_waiting(pending: Pending) -> str:
    """The whole echo again, after anything else was said."""
    return f"Still waiting: {question(pending)}"


def _body(pending: Pending) -> str:
    """All that a yes would store, and what is suspected of it."""
    draft, before = pending.draft, pending.instead_of
    if draft.void:
        if pending.stands is None:
            return f"Undo {told(draft)}: nothing of it stands then"
        again = "the reading before" if pending.hidden else _what(pending.stands)
        return f"Undo {told(draft)}: {again} stands again"
    new = "new tree " if draft.is_new else ""
    warned = [item for item in pending.warned if not before or item.check not in _MEASURED_BEFORE]
    said = ", ".join(item.says for item in warned)
    main = told(draft, pending.height_said)
    if before is not None:
        now, stood = _rest(draft, pending.height_said), _what(before)
        main = f"{_tree(draft)} again: {now}"
        if pending.hidden or _what(draft) != stood:  # else only its tag is another
            main += f" instead of {'the reading before' if pending.hidden else stood}"
    return ", ".join(part for part in (f"{new}{main}", _spelt(draft), said) if part)


def asks(pending: Pending) -> str:
    """What is wanted of the measurer: a yes, or where a warning stands the word for it."""
    return "Accept?" if pending.wants_accept else "Confirm?"


def not_yet(pending: Pending) -> str:
    """A plain yes where it does not do: the echo again, and what takes it."""
    what = pending.draft.value if pending.draft.value is not None else "it"
    ends = f"Say accept to keep {what}, or call it again."
    if pending.draft.void:
        ends = "Say accept to undo it, or no."
    return " ".join([f"Not saved yet: {_body(pending)}.", *_looks(pending.warned), ends])


def let_go(pending: Pending | None) -> str:
    """A reading that is dropped unconfirmed is said to be, never lost in silence."""
    if pending is None:
        return ""
    if pending.draft.void:
        return f"{told(pending.draft)} was not undone. "
    return f"{told(pending.draft)} was not saved. "


# ---- what was done ----


def saved(reading: Reading) -> str:
    """Said only after the reading is on disk."""
    return f"Saved {told(reading)}."


def undone(reading: Reading, stands: Reading | None, hidden: bool) -> str:
    """Said only after the undo is on disk."""
    said = f"Undone: {told(reading)} is taken back."
    if stands is None:
        return said
    # In a blind plot it may be another measurer's.
    again = f"the reading before of {reading.tag_now}" if hidden else told(stands)
    return f"{said} {again[:1].upper()}{again[1:]} stands again."


def late(reading: Reading, warned: Sequence[Warned]) -> str:
    """What the checks of a blind plot found, told once the reading is saved."""
    said = ", ".join(item.says for item in warned)
    looks = _looks(warned)
    return " ".join([f"Look again at {reading.tag_now}: {said}.", *looks])


def walk(passed: Sequence[str], following: str | None, remaining: Sequence[str]) -> str:
    """What was passed over, and the next tree of the list."""
    over = f"Passed over {listed(passed)}. " if passed else ""
    if following is not None:
        return f"{over}Next {following}."
    ends = "End of the list. " if remaining else ""
    return f"{over}{ends}{left(remaining)}"


def left(tags: Sequence[str], most: int = 5) -> str:
    """What is still to do, the first few by name."""
    if not tags:
        return "Nothing is left in this plot."
    return f"{len(tags)} left: {listed(tags, most)}."


def listed(tags: Sequence[str], most: int = 5) -> str:
    """Tags by name, ``most`` of them, and how many more."""
    more = f" and {len(tags) - most} more" if len(tags) > most else ""
    return ", ".join(tags[:most]) + more


def rejected(shown: str, also_tag: bool) -> str:
    """After a no: the tree is still in hand."""
    return f"Not saved. Tree {shown}: say it again{', its new tag too' if also_tag else ''}."


def where(plot: str, last: Reading | None, in_hand: str | None, press: Press | None) -> str:
    """The plot, what was saved last, and what is under way but for what waits."""
    parts = [f"Plot {plot}.", f"Last saved {told(last)}." if last else "Nothing saved yet."]
    if in_hand:
        parts.append(f"In hand: tree {in_hand}.")
    if press is not None:
        parts.append(f"{whose(press)[:1].upper()}{whose(press)[1:]}")
    return " ".join(parts)


def ask(text: str) -> Say:
    """A question, said and shown."""
    return Say(text, "ask")


# ---- presses of a tape ----


def pressed(press: Press) -> str:
    """Which press: what the tape showed."""
    side = "girth " if press.scale is Scale.GIRTH else ""
    return f"tape {side}{press.value} {press.unit.value}"


def whose(press: Press) -> str:
    """A press with no tree in hand."""
    return f"{pressed(press)}: which tree?"


def dropped(press: Press) -> str:
    """A press that waited and is let go, as a sentence before what follows."""
    told = pressed(press)
    return f"{told[:1].upper()}{told[1:]} is dropped. "


def too_late(press: Press) -> str:
    """No tree was named in time."""
    return f"{pressed(press)} waited too long for its tree: press again"


# ---- notes ----


def about(memory: Memory, tag: str | None, shown: str) -> str:
    """What a note is about: a tree by what hangs there, or the plot."""
    return f"tree {shown}" if tag else f"plot {memory.plot}"


def note_asked(about_what: str) -> str:
    """Whose note it will be, told before anything is kept."""
    return f"Note about {about_what}: speak or type it now."


def note_echo(about_what: str, memo: KeepMemo) -> str:
    """A typed note that waits for a yes."""
    return f"Note about {about_what}: {memo.words}. Confirm?"


def note_dropped(about_what: str) -> str:
    """A note that was under way is over."""
    return f"No note about {about_what} was kept."


def note_kept(about_what: str) -> str:
    """Said only after the note is on disk."""
    return f"Note kept about {about_what}."
