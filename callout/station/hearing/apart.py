"""The recogniser in a watched process of its own: a crash or hang costs a moment, not the day.

To callers it is an ``Engine`` like any other. Its process is killed when it takes far too long,
restarted when it is gone, and given the same utterance again, a bounded number of times. One that
crashes five times in a row is replaced by the second engine, if there is one. Engines are in
``speech``; the code of the process is in ``apart_child``.
"""

from __future__ import annotations

import contextlib
import threading
import time
from dataclasses import replace
from typing import Any

from callout.core.errors import CalloutError, DeviceError
from callout.core.saying import Saying, saying
from callout.grammar.automaton import Automaton
from callout.speech.engine import Candidate, Samples, TellTrouble
from callout.station.hearing.apart_process import EngineOrder as EngineOrder
from callout.station.hearing.apart_process import EngineProcess, GoneError
from callout.station.hearing.engines import second_engine
from callout.station.hearing.launching import Child

MOST_TRIES = 3
"""How often one utterance is decoded before it is given up: it may itself cause the crash."""
MOST_CRASHES = 5
"""Crashes in a row, of one utterance or of several, before the second engine takes over."""
_PAUSE_S = 5.0


class ApartEngine:
    """The engine of another process. ``prepare`` and ``hear`` may come from any thread."""

    def __init__(
        self, order: EngineOrder, tell: TellTrouble = lambda says: None, child: Child | None = None
    ) -> None:
        """``child``: a process that was launched already.

        Raises OperatorError or DeviceError if that engine is not available.
        """
        self._order, self._tell = order, tell
        self._second: str | None = second_engine(order.name, order.language)
        self._in_a_row = 0
        self.patient = False
        """Whether nobody can repeat an utterance: each one of a recording is heard if possible."""
        self._turn = threading.Lock()
        self._spoken: Automaton | None = None
        self._prepared: Automaton | None = None
        self._failed_at: float | None = None
        self._closed = False
        self.restarts = 0
        self._process = EngineProcess(child)
        try:
            about = self._process.start(order)
        except GoneError as error:
            self._process.kill()
            raise DeviceError(saying("recogniser-failed-start", what=error.how)) from error
        self._known(about)

    def _known(self, about: dict[str, Any]) -> None:
        self.name, self.model = str(about["name"]), str(about["model"])

    @property
    def pid(self) -> int | None:
        """The id of the recogniser's process, for watching its memory and its end."""
        return self._process.pid

    def on_trouble(self, tell: TellTrouble) -> None:
        """Whom to tell when the recogniser fails (what is wrong), or hears again (None)."""
        self._tell = tell

    def prepare(self, spoken: Automaton) -> None:
        """Listen for this from now on.

        The engine is prepared at once or, while an utterance is being decoded, before the next one,
        so that nobody waits for it here.
        """
        self._spoken = spoken
        if self._turn.acquire(blocking=False):
            try:
                with contextlib.suppress(GoneError):  # started again by the next utterance
                    self._make_ready()
            finally:
                self._turn.release()

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        """As the engine heard it. Raises DeviceError if it could not be heard at all."""
        with self._turn:
            self._rest_from_failure()
            gone: Saying | None = None
            tries = 0
            while tries < (MOST_CRASHES if self.patient else MOST_TRIES):
                tries += 1
                try:
                    self._make_ready()
                    found = self._process.hear(samples)
                except GoneError as error:
                    gone = error.how
                    self._process.kill()
                    if self._crashed():
                        tries, gone, self._failed_at = 0, None, None
                    continue
                self._well_again(gone)
                return found
            self._failed_at = time.monotonic()
            says = saying("recogniser-failed-twice", what=gone or saying("went-gone"))
            self._tell(says)
            raise DeviceError(says)

    def _crashed(self) -> bool:
        """Count a crash; whether the second engine takes over."""
        self._in_a_row += 1
        if self._in_a_row < MOST_CRASHES or self._second is None:
            return False
        first, self._order = self.name, replace(self._order, name=self._second, tuned="")
        self._second, self._in_a_row = None, 0
        try:
            self._known(self._process.start(self._order))
        except (GoneError, CalloutError):
            self._process.kill()
            return False
        self._prepared = None
        self._tell(saying("recogniser-second", first=first, second=self.name))
        return True

    def unknown_words(self, spoken: Automaton) -> tuple[str, ...]:
        """As the engine reports them; empty if it cannot, or is gone."""
        with self._turn, contextlib.suppress(GoneError):
            self._make_ready()
            return self._process.unknown_words(spoken)
        return ()

    def close(self) -> None:
        """End the process."""
        self._closed = True
        self._process.kill()

    def _make_ready(self) -> None:
        if self._closed:
            raise DeviceError(saying("recogniser-closed"))
        if not self._process.alive:
            self.restarts += 1
            self._prepared = None
            self._process.start(self._order)
        if self._spoken is not None and self._spoken is not self._prepared:
            spoken = self._spoken
            self._process.prepare(spoken)
            self._prepared = spoken

    def _rest_from_failure(self) -> None:
        """Do not restart an engine that keeps failing for every cough; a recording can wait."""
        left_s = 0.0 if self._failed_at is None else self._failed_at + _PAUSE_S - time.monotonic()
        if left_s <= 0:
            return
        if self.patient:
            time.sleep(left_s)
        else:
            raise DeviceError(saying("recogniser-down"))

    def _well_again(self, gone: Saying | None) -> None:
        if gone is not None:
            self._tell(saying("recogniser-restarted", what=gone))
        if gone is not None or self._failed_at is not None:
            self._tell(None)
        self._failed_at, self._in_a_row = None, 0
