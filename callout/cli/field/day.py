"""A working day from a command's options: station, clock and work, sealed at the end."""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from callout.cli.working import login
from callout.core.saying import Saying
from callout.journal.folder import SurveyFolder
from callout.sound.frames import Frame
from callout.sound.sound_files import encode_flac, stream_sound
from callout.station.build import make_station
from callout.station.hearing.beside import read_played
from callout.station.hearing.launching import Child
from callout.station.post import Work
from callout.station.scopes import plot_to_begin
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.sealing import seal_session


@dataclass(frozen=True)
class Day:
    """The parts of a post."""

    station: Station
    clock: Clock
    work: Work


def _on_stderr(line: str) -> None:
    print(f"callout: {line}", file=sys.stderr)


@contextmanager
def day_of(
    args: argparse.Namespace,
    folder: SurveyFolder,
    tell: Callable[[str], None] = _on_stderr,
    child: Child | None = None,
) -> Iterator[Day]:
    """The day of ``args``; sealed at its end. ``tell`` gets messages that are not faults.

    Raises CalloutError if the work cannot begin.
    """
    frames = frames_of(args.audio) if args.audio else None
    clock = Clock()
    silenced: list[Saying] = []
    # A recording needs a recogniser; a person can type.
    or_without = None if args.audio else silenced.append
    station = make_station(
        folder,
        encode_flac,
        args.engine,
        args.model,
        tell,
        clock,
        or_without,
        args.who or login(),
        child,
        hears=not args.typed or bool(args.engine),
        plot=args.plot,
    )
    try:
        without = silenced[0] if silenced else None
        yield Day(station, clock, work_of(args, folder, station, frames, without, typed=args.typed))
    finally:
        _, trouble = seal_session(folder, station)
        if trouble:
            tell(trouble)
        station.close()


def work_of(
    args: argparse.Namespace,
    folder: SurveyFolder,
    station: Station,
    frames: Iterable[Frame] | None,
    without_engine: Saying | None,
    *,
    typed: bool = False,
) -> Work:
    """The work that the options ask for; ``typed`` work, and sound read faster, speak no echo."""
    return Work(
        plot=plot_to_begin(station.survey.plots, station.memory, args.plot),
        who=args.who or login(),
        frames=frames,
        played=read_played(args.played) if args.played else None,
        realtime=args.realtime,
        silent=typed or (frames is not None and not args.realtime),
        muted=args.mute or folder.config().speaking.muted,
        without_engine=without_engine,
    )


def frames_of(path: Path) -> Iterator[Frame]:
    """The file's frames; a bad file is refused here, before anything is journalled."""
    frames = stream_sound(path)
    return itertools.chain([next(frames)], frames)
