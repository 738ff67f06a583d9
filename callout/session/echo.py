"""The words of the echo: what the second person calls back across the plot.

Wording only; figures arrive settled. Digits are left to the voice, which speaks "24.6" as the
measurer would.
"""

from __future__ import annotations

from collections.abc import Sequence

from callout.core.model import Reading, Warned
from callout.session.state import Pending

# Numbers that end so sound alike in wind and are called back digit by digit as well.
_TEENS = {f"1{digit}" for digit in range(3, 10)}
_TENS = {f"{digit}0" for digit in range(3, 10)}


def told(reading: Reading) -> str:
    """The tree and its value or status, e.g. ``83, 24.6`` or ``40, dead standing``.

    A tree whose tag was replaced is called by what hangs there now: ``312, was 40, 24.6``.
    """
    tree = f"{reading.tag_now} stem {reading.stem}" if reading.stem else reading.tag_now
    if reading.tag_lost:
        tree += f", {reading.tag_note}" if reading.new_tag else ", tag lost"
    if reading.value is None:
        return f"{tree}, {reading.status.replace('_', ' ')}"
    status = "" if reading.status == "live" else f", {reading.status.replace('_', ' ')}"
    height = f", measured at {reading.height_m} metres" if reading.height_m else ""
    return f"{tree}, {reading.value}{height}{status}"


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


def question(pending: Pending) -> str:
    """The echo that asks for confirmation: value, what is suspected, what to look at."""
    new = "new tree " if pending.draft.is_new else ""
    said = ", ".join(item.says for item in pending.warned)
    looks = _looks(pending.warned)
    parts = [f"{new}{told(pending.draft)}", _spelt(pending.draft), said]
    sentence = ", ".join(part for part in parts if part)
    return " ".join([f"{sentence}.", *looks, asks(pending)])


def asks(pending: Pending) -> str:
    """What is wanted of the measurer: a yes, or where a warning stands the word for it."""
    return "Accept?" if pending.wants_accept else "Confirm?"


def not_yet(pending: Pending) -> str:
    """A plain yes to a warning: which one stands, and what takes it."""
    said = ", ".join(item.says for item in pending.warned)
    looks = _looks(pending.warned)
    what = pending.draft.value if pending.draft.value is not None else "it"
    ends = f"Say accept to keep {what}, or call it again."
    return " ".join([f"Not saved yet: {said}.", *looks, ends])


def saved(reading: Reading) -> str:
    """Said only after the reading is on disk."""
    return f"Saved {told(reading)}."


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
