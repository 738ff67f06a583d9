"""The moments of several recorders on one screen, one recorder after another."""

from __future__ import annotations

from collections.abc import Sequence

from callout.lookback.viewing import Look, Viewing


class SeveralViewers:
    """``viewers`` as one; rows are counted through all of them."""

    def __init__(self, viewers: Sequence[Viewing]) -> None:
        self._places = [(one, at) for one in viewers for at in range(len(one.rows))]
        self._viewers = viewers
        self.rows = tuple(row for one in viewers for row in one.rows)

    def look(self, at: int, every_engine: bool = False) -> Look:
        """The moment of row ``at``; takes as long as hearing does."""
        viewer, row = self._places[at]
        return viewer.look(row, every_engine)

    def play(self, at: int) -> str:
        """Begin to play row ``at``; says why not, where it cannot be played."""
        self.stop()
        viewer, row = self._places[at]
        return viewer.play(row)

    def position_s(self) -> float | None:
        """How far the playing has come; None where nothing plays."""
        found = (one.position_s() for one in self._viewers)
        return next((at for at in found if at is not None), None)

    def stop(self) -> None:
        """Stop playing."""
        for one in self._viewers:
            one.stop()
