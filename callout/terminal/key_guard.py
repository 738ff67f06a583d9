"""Which key presses count: a held key acts once, and nothing unseen is ever confirmed.

Pure: time is passed in, in seconds. A glove resting on Enter would otherwise send a typed callout
and then confirm it unread, by key repeat alone; a held F8 would undo a whole row of trees.
"""

from __future__ import annotations

from callout.station.face import View
from callout.terminal.labels import waits

HELD_S = 0.7
"""Longer than common delays before key repeat begins (0.25 to 0.66 s; from memory)."""

REPEAT_S = 0.25
"""Presses closer than this come from a held key (or a bouncing one), not from a finger."""

SEEN_S = 0.7
"""How long a reading must have been on the screen before a key may confirm it."""


def matter(view: View) -> tuple[object, ...]:
    """What a confirmation would confirm; changes with the pending reading."""
    if not waits(view):
        return ()
    return (view.plot, view.tag, view.value, view.unit, view.status, view.warnings)


class KeyGuard:
    """Remembers the last press of each key and since when the present reading has been shown."""

    def __init__(self) -> None:
        self._last: dict[str, float] = {}
        self._counted: dict[str, float] = {}
        self._matter: tuple[object, ...] = ()
        self._since = 0.0

    def fresh(self, key: str, now: float) -> bool:
        """Whether ``key`` was newly pressed, rather than held or bouncing.

        A key pressed repeatedly, slower than `REPEAT_S`, counts again after `HELD_S`.
        """
        gap_s = now - self._last.get(key, -HELD_S)
        counted_s = now - self._counted.get(key, -HELD_S)
        self._last[key] = now
        if gap_s < REPEAT_S or counted_s < HELD_S:
            return False
        self._counted[key] = now
        return True

    def showed(self, view: View, now: float) -> None:
        """``view`` was painted."""
        if matter(view) != self._matter:
            self._matter = matter(view)
            self._since = now

    def uncovered(self, now: float) -> None:
        """Another screen was closed: the pending reading is seen from now on."""
        self._since = now

    def seen(self, view: View, now: float) -> bool:
        """Whether what ``view`` would have confirmed is what was painted, long enough to read."""
        return matter(view) == self._matter and now - self._since >= SEEN_S
