"""What the commands that work at a survey have in common: their options, sound, and who works."""

from __future__ import annotations

import argparse
import getpass
import itertools
from collections.abc import Iterable, Iterator
from pathlib import Path

from callout.core.errors import OperatorError
from callout.core.saying import Saying
from callout.journal.folder import SurveyFolder
from callout.sound.frames import Frame
from callout.sound.sound_files import stream_sound
from callout.station.hearing.beside import read_played
from callout.station.post import Work
from callout.station.scopes import plot_to_begin
from callout.station.station import Station


def add_working_options(parser: argparse.ArgumentParser) -> None:
    """Options of whatever hears and saves; ``check_options`` and ``work_of`` read them."""
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--plot", help="the plot to work in (default: the first unfinished)")
    parser.add_argument("--who", default=None, help="who measures (default: the login name)")
    parser.add_argument("--audio", type=Path, metavar="FILE", help="sound file for a microphone")
    parser.add_argument(
        "--played", type=Path, metavar="FILE",
        help="with --audio: what the loudspeaker played meanwhile, begun together",
    )  # fmt: skip
    parser.add_argument("--realtime", action="store_true", help="take the file at its own speed")
    names = "auto, closed, pocketsphinx, vosk, or two: closed+pocketsphinx"
    parser.add_argument("--engine", default=None, help=names)
    parser.add_argument("--model", default=None, help="folder of a Vosk model")
    parser.add_argument("--mute", action="store_true", help="do not speak the echo")


def check_options(args: argparse.Namespace) -> None:
    """Raises OperatorError for options that do not go together."""
    if args.realtime and not args.audio:
        raise OperatorError("--realtime goes with --audio FILE")
    if args.played and (args.realtime or not args.audio):
        raise OperatorError("--played goes with --audio FILE and without --realtime")


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


def login() -> str:
    """The login name, as who measures; nothing where there is none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
