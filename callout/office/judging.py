"""Judges the growth of every plot in a thread, while the page is used: the page comes first."""

from __future__ import annotations

import threading
from collections.abc import Callable

from callout.office.desk_growth import Growth
from callout.office.desk_index import DeskIndex


class Judging:
    """``lock`` is held whenever the index is used.

    ``still`` gives what changes when somebody rules, and None once the index is another one;
    ``told`` is called when the index was told of a plot.
    """

    def __init__(
        self,
        index: DeskIndex,
        growth: Growth,
        lock: threading.RLock,
        still: Callable[[], object],
        told: Callable[[], object],
    ) -> None:
        self._index, self._growth, self._lock = index, growth, lock
        self._still, self._told = still, told
        self._asked, self._done = threading.Event(), threading.Event()
        threading.Thread(target=self._judge, name="growth", daemon=True).start()

    @property
    def done(self) -> bool:
        """Whether every plot was judged."""
        return self._done.is_set()

    def begin(self) -> None:
        """Judge, if that has not begun; nothing is judged before."""
        self._asked.set()

    def wait(self, seconds: float) -> None:
        """Wait until every plot was judged, but no longer than that."""
        self._asked.set()
        self._done.wait(seconds)

    def _judge(self) -> None:
        self._asked.wait()
        with self._lock:
            plots = self._index.plots() if self._still() is not None else []
        if all(map(self._judged, plots)):
            self._done.set()

    def _judged(self, plot: str) -> bool:
        """Judge a plot, most of it without the lock; False where the index is another one."""
        with self._lock:
            now = self._still()
            if now is None:
                return False
            gathered = self._growth.gathered(plot)
        found = self._growth.judged(plot, gathered)
        with self._lock:
            then = self._still()
            if then is None:
                return False
            if then is not now:  # somebody ruled meanwhile
                found = self._growth.judged(plot, self._growth.gathered(plot))
            self._index.grow(plot, found)
            self._told()
        return True
