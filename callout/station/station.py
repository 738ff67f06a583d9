"""The station: takes sounds, typed words and keys to the session, and its effects to the world.

Order is everything here: sound on disk, then the entry that names it, then the word "saved". One
lock; callers may be any thread. The rules of the dialogue are the session's.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from callout.core.errors import DeviceError, StorageError
from callout.core.events import Event, Heard, Opened, Save, Say, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import Plot
from callout.core.saying import Saying, saying
from callout.grammar.language import Language
from callout.grammar.parser import Parsed
from callout.grammar.scope import Scope
from callout.journal.codec import stamp
from callout.journal.folder import SurveyFolder
from callout.proof.seals import Seal, Sign
from callout.session.phase import Phase
from callout.session.state import Memory, Survey
from callout.session.tags import known_tags
from callout.session.turn import asked_now
from callout.speech.engine import Candidate, Engine, RunsApart, Samples
from callout.station.deciding import (
    PLAINLY,
    AsHeard,
    EchoTimes,
    cuts,
    over_voice,
    sure,
    wakes,
    whole,
)
from callout.station.done import Done, Watcher, Watchers
from callout.station.scopes import plot_asked, plot_named, scope_of
from callout.station.speaking.spoken_turns import AGAIN, OVER, OVER_VOICE
from callout.station.typed_words import keepable, typed_line
from callout.station.upkeep.ledger import Ledger, TellDisk
from callout.wording.language_files import english
from callout.wording.wording import Wording


class Station:
    """One survey at work in one plot."""

    def __init__(
        self,
        folder: SurveyFolder,
        language: Language,
        engine: Engine | None,
        encode: Callable[[Samples], bytes],
        now: Callable[[], datetime],
        wording: Wording | None = None,
    ) -> None:
        self._lock = threading.RLock()
        self._folder, self._encode, self._now = folder, encode, now
        self.language, self.engine = language, engine
        """What may be said here, and what hears it, if anything does."""
        self.wording = wording or english()
        """The wording of everything told, in the survey's language."""
        self._watchers, self.echo_times = Watchers(), EchoTimes()
        self.cut_voice: Callable[[], None] = lambda: None
        """Called when something that counts is said while the voice sounds."""
        self.refusals = 0
        """How often the disk refused to keep or save something."""
        # What the disk took though it had refused is told then, as anything else that is done.
        self._ledger = Ledger(folder, now().isoformat(), lambda *it: self._watchers.told(Done(*it)))
        self.noting = self._ledger.noting
        self._scope = Scope()

    @property
    def memory(self) -> Memory:
        """The dialogue's state; immutable, safe to keep."""
        return self._ledger.memory

    @property
    def survey(self) -> Survey:
        """Plots and trees."""
        return self._ledger.survey

    @property
    def plot(self) -> Plot:
        """The plot being worked in."""
        return self._ledger.survey.plots[self._ledger.memory.plot]

    def watch(self, watcher: Watcher) -> None:
        """Call ``watcher`` with everything done from now on, after it is on disk."""
        self._watchers.add(watcher)

    def on_disk(self, tell: TellDisk) -> None:
        """Call ``tell`` when the disk refuses or is slow (what is wrong), or is well (None)."""
        self._ledger.tell_disk = tell

    def responds(self, within_s: float) -> bool:
        """Whether the lock can be taken within that time."""
        if free := self._lock.acquire(timeout=within_s):
            self._lock.release()
        return free

    def open(self, plot: str, who: str, at: datetime | None = None) -> None:
        """Begin or resume in ``plot``.

        Raises OperatorError for an unknown plot, StorageError if it cannot be written.
        """
        plot_named(self._ledger.survey.plots, plot)
        with self._lock:
            self._ledger.mend()
            event = Opened(self._ledger.next_entry, self._at(at), plot, keepable(who))
            self._watchers.told(Done(event, self._ledger.commit(event)))
            self._listen_for_plot()

    def hear(
        self,
        samples: Samples,
        at: datetime | None = None,
        began: datetime | None = None,
        how: AsHeard = PLAINLY,
    ) -> bool:
        """One utterance: kept as sound, recognised, and taken to the session.

        ``began`` is when it was begun: a yes answers only an echo that was there by then. Whether
        it was taken up, which only what is heard ``if_whole`` may not be.
        """
        where, trouble = self._ledger.memory.plot, None
        started = time.perf_counter()
        # Not under the lock: keys and tapes go on while a sound is decoded.
        try:
            candidates = self.engine.hear(samples) if self.engine else ()
        except DeviceError as error:
            candidates, trouble = (), error.saying
        engine_s = time.perf_counter() - started
        with self._lock:
            memory = self._ledger.memory
            best = candidates[0] if candidates else Candidate("", (), 0.0)
            parsed = sure(best, self._scope, waits=memory.asking > 0)
            about = self.echo_times.asked_by(memory, began)
            counts = over_voice(parsed, best, self._scope, memory, about, how)
            if how.may_cut and cuts(counts):
                self.cut_voice()
            if how.if_whole and not (
                candidates and whole(best, self._spoken, self._scope, self.plot, memory)
            ):
                return False
            if memory.paused and not wakes(candidates):
                return True  # said to somebody else: neither kept nor told
            if memory.plot != where and candidates:
                self.say(saying("plot-changed"))
            elif candidates or memory.listens_for_a_note:
                if how.over and counts is None:
                    self.say(OVER_VOICE, AGAIN if how.was_cut else OVER)
                else:
                    self._take(
                        best,
                        lambda: replace(self._written("voice", parsed, at), about=about),
                        samples,
                        engine_s,
                    )
            elif trouble is not None:
                self.say(saying("not-heard", why=trouble))
            elif how.was_cut:
                self.say(OVER_VOICE, AGAIN)
            # Else it was no callout: a cough, a branch, somebody else.
        return True

    def _take(
        self, best: Candidate, heard: Callable[[], Heard], samples: Samples, engine_s: float
    ) -> None:
        try:
            audio = self._folder.audio.keep(self._encode(samples))
        except StorageError as error:
            self._refused(saying("not-kept-why", why=error.saying), error)
            return
        engine = f"{self.engine.name} ({self.engine.model})" if self.engine else ""
        sure_of = Decimal(str(best.confidence))
        self._do(lambda: replace(heard(), engine=engine, confidence=sure_of, audio=audio), engine_s)

    def type(self, text: str, at: datetime | None = None, about: int | None = None) -> None:
        """A callout that was typed; ``about`` as in ``press``.

        While a note is listened for, anything but a callout is the note.
        """
        with self._lock:
            notes = self._ledger.memory.listens_for_a_note
            parsed = typed_line(self.language, text, self._scope, notes)
            if plot := plot_asked(parsed, self.survey.plots):
                who = self._ledger.memory.who
                self._do(lambda: Opened(self._ledger.next_entry, self._at(at), str(plot), who))
                self._listen_for_plot()
            else:
                self._do(lambda: self._written("typed", parsed, at, about))

    def press(self, kind: str, at: datetime | None = None, about: int | None = None) -> None:
        """A key for a command, e.g. ``confirm``; ``about`` as in ``Heard``, else what waits now."""
        with self._lock:
            parsed = Parsed(kind, (Meaning(kind),), None)
            self._do(lambda: self._written("key", parsed, at, about))

    def measure(
        self, words: str, meaning: Meaning, device: str, pressed: datetime | None = None
    ) -> None:
        """A press of a digital tape, with the ``words`` it sent; ``pressed`` is when."""
        with self._lock:
            parsed = Parsed(words, (meaning,), None)
            at = stamp(pressed) if pressed is not None else None
            self._do(
                lambda: replace(self._written("tape", parsed, None), engine=device, pressed_at=at)
            )

    def say(self, says: Saying, tone: str = "refused") -> None:
        """Tell the person something that changes nothing and is not journalled.

        A pending reading is echoed again: a yes must answer the last thing that was heard.
        """
        with self._lock:
            parts = [Say((says,), tone)]
            if waits := asked_now(self._ledger.memory):
                parts.append(Say(waits, "ask"))
            self._watchers.tell(*parts)

    def try_disk(self) -> None:
        """After the disk refused, check whether it works again; a pending reading stays pending."""
        with self._lock:
            self._ledger.try_disk()

    def clock_moved(self, by: timedelta) -> None:
        """The wall clock was set: shift the times of earlier echoes to match."""
        with self._lock:
            self.echo_times.moved(self._ledger.memory.asking, by)

    def time_out(self, at: datetime | None = None) -> None:
        """Nothing was said for a while."""
        with self._lock:
            if self._ledger.memory.phase is not Phase.IDLE or self._ledger.memory.press is not None:
                self._do(lambda: TimedOut(self._ledger.next_entry, self._at(at)))

    def record(self, kind: str, body: dict[str, Any], at: datetime | None = None) -> None:
        """Journal what is not an event of the session, e.g. a segment of its sound.

        Raises StorageError; then nothing was written.
        """
        with self._lock:
            self._ledger.append(self._at(at), kind, body)

    def seal(self, sign: Sign | None = None, at: datetime | None = None) -> Seal:
        """Seal the journal as it stands. Raises StorageError, or OperatorError for bad seals."""
        with self._lock:
            return self._ledger.seal(self._at(at), sign)

    def close(self) -> None:
        """Close the journal; a pending reading is pending again at the next start."""
        with self._lock:
            self._ledger.close()
        if isinstance(self.engine, RunsApart):
            self.engine.close()

    def _at(self, at: datetime | None) -> str:
        return stamp(at or self._now())

    def _written(
        self, source: str, parsed: Parsed, at: datetime | None, about: int | None = None
    ) -> Heard:
        waits = self._ledger.memory.asking if about is None else about
        entry, said = self._ledger.next_entry, (parsed.words, parsed.meanings, parsed.problem)
        return Heard(entry, self._at(at), source, *said, about=waits)

    def _listen_for_plot(self) -> None:
        self._scope = scope_of(self.plot, known_tags(self._ledger.memory, self.plot))
        if self.engine is not None:
            self._spoken = self.language.spoken_in(self._scope)
            self.engine.prepare(self._spoken)

    def _do(self, make: Callable[[], Event], engine_s: float = 0.0) -> None:
        try:
            self._ledger.mend()
            event = make()
            effects = self._ledger.commit(event)
        except StorageError as error:
            # The session stays where it was: a pending reading stays pending.
            self._refused(saying("not-saved-why", why=error.saying), error)
            return
        # Told first: making a new tree hearable takes a good part of a second.
        self._watchers.told(Done(event, effects, engine_s))
        saved = [effect.reading for effect in effects if isinstance(effect, Save)]
        if any(reading.is_new or reading.new_tag for reading in saved):
            self._listen_for_plot()

    def _refused(self, says: Saying, error: StorageError) -> None:
        self.refusals += 1
        self._ledger.tell_disk(error.saying)
        self._watchers.tell(Say((says,), "refused"))
