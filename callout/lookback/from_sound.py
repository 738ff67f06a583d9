"""Rebuilds a journal from the sound alone, to compare with the one that was kept.

Every callout is heard again, from its own sound or cut again from the sound of whole sessions, and
fed to a fresh session in a new folder. What has no sound (keys, typing, tapes, silences) is taken
as it was recorded, unless it is left out. An answer is matched to the reading it answered then; if
that reading is not heard now, the answer has no target and saves nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from callout.core.errors import CalloutError
from callout.core.events import Event, Heard, Opened, TimedOut
from callout.grammar.language import Language
from callout.journal.audio import AudioStore
from callout.journal.codec import stamp
from callout.journal.reader import Entry
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.journal.writer import JournalWriter
from callout.session.machine import step
from callout.session.state import Memory, Survey
from callout.session.tags import known_tags
from callout.sound.endpoint import Endpointer
from callout.sound.frames import Utterance, frames_of
from callout.sound.sound_files import decode_flac, encode_flac
from callout.speech.engine import Candidate, Engine, Samples
from callout.station.deciding import Narrowed, asked_by, sure
from callout.station.scopes import scope_of
from callout.station.upkeep.rebuild import Known

_KEPT_KINDS = ("roster", "settings")
_JOINS_S = 0.05


@dataclass(frozen=True)
class Sounded:
    """Sound that may be a callout: when it ended, and when it began if that is known.

    ``entry`` is the journal entry that names it, and ``about`` the reading it answered, by the
    number it had then; both are None for what was cut again from a session's sound.
    """

    at: str
    samples: Samples
    began: datetime | None = None
    entry: int | None = None
    about: int | None = None


@dataclass
class Counts:
    """How many of each were taken; ``gone`` counts sounds that are missing or were removed."""

    heard: int = 0
    nothing_heard: int = 0
    as_recorded: int = 0
    left_out: int = 0
    gone: int = 0


Happening = Entry | Sounded


# ---- what happened, in order ----


def by_callouts(
    entries: Iterable[Entry], sounds: AudioStore, counts: Counts
) -> Iterator[Happening]:
    """The journal's entries, with the sound itself in place of what was heard in it."""
    for entry in entries:
        event = entry.event
        if isinstance(event, Heard) and event.audio is not None:
            try:
                samples = decode_flac(sounds.read(event.audio))
            except CalloutError:
                counts.gone += 1
                continue
            yield Sounded(event.at, samples, None, event.entry, event.about)
        else:
            yield entry


def by_sessions(
    entries: Iterable[Entry],
    sounds: AudioStore,
    endpointer: Callable[[], Endpointer],
    counts: Counts,
) -> Iterator[Happening]:
    """As ``by_callouts``, but callouts are cut from whole sessions and placed by their time."""
    entries = list(entries)
    found: list[tuple[datetime, int, Happening]] = []
    for entry in entries:
        event = entry.event
        if not (isinstance(event, Heard) and event.audio is not None):
            found.append((datetime.fromisoformat(entry.at), entry.seq, entry))
    segments = [entry for entry in entries if entry.kind == SESSION_SOUND]
    for seq, began, utterance in _cut(segments, sounds, endpointer, counts):
        ends = began + timedelta(seconds=utterance.end_s)
        starts = began + timedelta(seconds=utterance.start_s)
        found.append((ends, seq, Sounded(stamp(ends), utterance.samples, starts)))
    # Roster and settings come first, whatever the clock of another day said.
    return (
        item
        for _, _, item in sorted(found, key=lambda one: (not _is_ground(one[2]), one[0], one[1]))
    )


def _is_ground(item: Happening) -> bool:
    return isinstance(item, Entry) and item.kind in _KEPT_KINDS and item.seq <= 2


def _cut(
    segments: list[Entry], sounds: AudioStore, endpointer: Callable[[], Endpointer], counts: Counts
) -> Iterator[tuple[int, datetime, Utterance]]:
    """Utterances of consecutive segments, with the time their stream began."""
    ears, began, ended_s, seq = endpointer(), datetime.min, 0.0, 0  # noqa: DTZ901 - never told
    for entry in segments:
        content = entry.content
        starts = datetime.fromisoformat(content["began"])
        joins = seq and abs((starts - began).total_seconds() - ended_s) < _JOINS_S
        if not joins:
            yield from ((seq, began, item) for item in ears.flush())
            ears, began, ended_s = endpointer(), starts, 0.0
        seq = entry.seq
        try:
            samples = decode_flac(sounds.read(content["audio"]))
        except CalloutError:
            counts.gone += 1
            continue
        tail_s = ears.settings.echo_tail_s
        for start, end in content["echo"]:
            ears.mute(ended_s + float(end) - tail_s, ended_s + float(start))
        for frame in frames_of(samples, ended_s):
            yield from ((seq, began, item) for item in ears.push(frame))
            ended_s = frame.end_s
    yield from ((seq, began, item) for item in ears.flush())


# ---- fed to a fresh session ----


class Afresh:
    """A fresh session that hears; writes to ``writer`` and stores what it hears in ``sounds``."""

    def __init__(
        self, engine: Engine, language: Language, writer: JournalWriter, sounds: AudioStore
    ) -> None:
        self._engine, self._narrowed = engine, Narrowed(engine, language)
        self._writer, self._sounds = writer, sounds
        self._known, self._survey, self._memory = Known(), Survey({}), Memory()
        self._now: dict[int, int] = {}  # new entry number by the old one
        self.counts = Counts()

    def take(self, item: Happening, sound_only: bool) -> None:
        """Take one entry or sound."""
        if isinstance(item, Sounded):
            self._hear(item)
            return
        if item.kind in _KEPT_KINDS:
            self._writer.append(item.at, item.kind, item.content)
            self._survey = self._known.after(item)
            return
        event = item.event
        if event is None:
            return  # seals, rulings, orders: they concern the old journal
        if sound_only and not isinstance(event, Opened):
            self.counts.left_out += 1
            return
        self.counts.as_recorded += isinstance(event, Heard | TimedOut)
        self._commit(self._renumbered(event), event.entry)

    def _renumbered(self, event: Event) -> Event:
        if isinstance(event, Heard):
            event = replace(event, about=self._about(event.about))
        return replace(event, entry=self._writer.next_entry)

    def _about(self, then: int | None) -> int | None:
        """The new number of the reading that was answered; 0 if it is not there now."""
        return self._now.get(then, 0) if then else then

    def _commit(self, event: Event, then: int | None) -> None:
        memory, effects = step(self._survey, self._memory, event)
        self._writer.commit(event, effects, memory.plot)
        self._memory = memory
        if then is not None:
            self._now[then] = event.entry

    def _hear(self, item: Sounded) -> None:
        plot, memory = self._survey.plots[self._memory.plot], self._memory
        scope = scope_of(plot, known_tags(memory, plot))
        candidates = self._narrowed.to(scope).hear(item.samples)
        if not candidates and not memory.listens_for_a_note:
            self.counts.nothing_heard += 1
            return
        self.counts.heard += 1
        best = candidates[0] if candidates else Candidate("", (), 0.0)
        parsed = sure(best, scope, waits=memory.asking > 0)
        began = item.began
        about = self._about(item.about) if began is None else asked_by(memory, began)
        heard = Heard(
            entry=self._writer.next_entry,
            at=item.at,
            source="voice",
            words=best.words,
            meanings=parsed.meanings,
            problem=parsed.problem,
            engine=f"{self._engine.name} ({self._engine.model})",
            confidence=Decimal(str(best.confidence)),
            audio=self._sounds.keep(encode_flac(item.samples)),
            about=about,
        )
        self._commit(heard, item.entry)
