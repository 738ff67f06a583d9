"""What an engine makes of sound without callouts, through endpointing and station as at work.

Nobody speaks, nothing is spoken back. In every second part a reading that was typed waits for its
yes, typed anew whenever something took it away: a yes heard in noise would save it.
"""

from __future__ import annotations

import itertools
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime, timedelta
from pathlib import Path

from benchmarks.hearing.nothing import PART_S, Part
from benchmarks.hearing.plot import TAGS, make_plot
from callout.core.events import Heard, Save
from callout.sound.frames import frames_of
from callout.sound.sound_files import encode_flac
from callout.speech.engine import Engine
from callout.station.build import endpointer_for
from callout.station.data import load_language
from callout.station.done import Done
from callout.station.hearing.listening import Listening
from callout.station.station import Station
from callout.survey.config import Listening as Settings

MUTED = "echo, muted"
_TYPE_AGAIN_S = 3.0


@dataclass
class Counted:
    """Of one kind: minutes of sound, utterances cut, asked about, taken, saved; seconds of work."""

    minutes: float = 0.0
    cut: int = 0
    asked: int = 0
    taken: int = 0
    readings: int = 0
    confirmed: int = 0
    saved: int = 0
    cpu_s: float = 0.0
    words: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        rates = [n * 60 / self.minutes for n in (self.asked, self.taken, self.readings)]
        told = " | ".join(f"{rate:.1f}" for rate in rates)
        return f"{self.minutes:.0f} | {self.cut} | {told} | {self.confirmed} | {self.saved}"


HEADING = (
    "minutes | utterances cut | asked about, an hour | callouts taken, an hour "
    "| of these readings or sizes, an hour | yeses taken | saved"
)
_READINGS = ("reading", "size", "amend", "new")
_YESES = ("confirm", "accept")


def work(engine: Engine, parts: Sequence[Part]) -> Counted:
    """One session over all parts of a kind."""
    counted = Counted(minutes=len(parts) * PART_S / 60)
    began = datetime.now().astimezone()
    with tempfile.TemporaryDirectory() as place:
        folder = make_plot(Path(place) / "fen", began)
        station = Station(folder, load_language("en"), engine, encode_flac, lambda: began)
        try:
            _listen(station, folder.config().listening, parts, counted, began)
        finally:
            station.close()
    return counted


def _listen(
    station: Station, settings: Settings, parts: Sequence[Part], counted: Counted, began: datetime
) -> None:
    endpointer = endpointer_for(settings)
    listening = Listening(station, endpointer, began, settings.reminder_s)
    listening.on_utterance(lambda samples, floor: _count_cut(counted))
    station.watch(lambda done: _count(done, counted))
    station.open("K2", "R.V.", began)
    tags, typed_s = itertools.cycle(TAGS), -_TYPE_AGAIN_S
    started = time.process_time()
    for number, part in enumerate(parts):
        start_s = number * PART_S
        if part.kind == MUTED:
            for begin_s, end_s in part.spans:
                endpointer.mute(start_s + end_s, start_s + begin_s)
        for frame in frames_of(part.samples, start_s):
            waits = station.memory.pending is not None
            if number % 2 and not waits and frame.start_s - typed_s >= _TYPE_AGAIN_S:
                typed_s = frame.start_s
                at = began + timedelta(seconds=typed_s)
                station.type(f"tree {next(tags)}, 24.6", at)
            listening.take(frame)
    listening.finish()
    counted.cpu_s = time.process_time() - started


def _count_cut(counted: Counted) -> None:
    counted.cut += 1


def _count(done: Done, counted: Counted) -> None:
    counted.saved += sum(isinstance(effect, Save) for effect in done.effects)
    event = done.event
    if not isinstance(event, Heard) or event.source != "voice" or not event.words:
        return
    if event.problem is not None:
        counted.asked += 1
        return
    counted.taken += 1
    kinds = {meaning.kind for meaning in event.meanings}
    counted.readings += bool(kinds & {*_READINGS})
    counted.confirmed += bool(kinds & {*_YESES})
    counted.words.append(f"{event.words} ({event.confidence})")


def added(one: Counted, other: Counted) -> Counted:
    """Both together, the words left out."""
    names = [item.name for item in fields(Counted) if item.name != "words"]
    return Counted(**{name: getattr(one, name) + getattr(other, name) for name in names})
