"""``callout listen``: the working day, with the terminal screen or headless."""

from __future__ import annotations

import argparse
import getpass
import itertools
import json
import sys
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.devices.measurement import DeviceNotice
from callout.journal.folder import SurveyFolder, open_survey
from callout.sound.files import encode_flac, stream_sound
from callout.sound.frames import Frame
from callout.station.build import endpointer_for, make_station
from callout.station.listening import Listening
from callout.station.station import Done, Station, done_json
from callout.station.tapes import Tapes
from callout.station.voice import Echo, make_echo


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("listen", help="measure: hear, echo, check, save")
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--plot", help="the plot to work in (default: the first unfinished)")
    parser.add_argument("--who", default=None, help="who measures (default: the login name)")
    parser.add_argument("--headless", action="store_true", help="no screen; JSON lines on stdout")
    parser.add_argument("--audio", type=Path, metavar="FILE", help="sound file for a microphone")
    parser.add_argument("--realtime", action="store_true", help="take the file at its own speed")
    parser.add_argument("--engine", default=None, help="auto, pocketsphinx or vosk")
    parser.add_argument("--model", default=None, help="folder of a Vosk model")
    parser.add_argument(
        "--typed", action="store_true",
        help="with --headless: callouts from standard input, one a line, no microphone",
    )  # fmt: skip
    parser.add_argument("--mute", action="store_true", help="do not speak the echo")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Work until the sound ends or the person stops."""
    if args.realtime and not args.audio:
        raise OperatorError("--realtime goes with --audio FILE")
    if args.typed and (args.audio or not args.headless):
        raise OperatorError("--typed goes with --headless and without --audio")
    folder = open_survey(args.survey)
    frames = _from_file(args.audio) if args.audio else None
    station = make_station(folder, encode_flac, args.engine, args.model)
    try:
        who = args.who or _login()
        if args.headless:
            return _headless(args, folder, station, who, frames)
        from callout.cli.listen_screen import run_screen

        plot = station.plot_to_begin(args.plot)
        return run_screen(folder, station, plot, who, args.mute, frames, args.realtime)
    finally:
        station.close()


def _from_file(path: Path) -> Iterator[Frame]:
    """The file's frames; a bad file is refused here, before anything is journalled."""
    frames = stream_sound(path)
    return itertools.chain([next(frames)], frames)


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


def _headless(
    args: argparse.Namespace,
    folder: SurveyFolder,
    station: Station,
    who: str,
    frames: Iterable[Frame] | None,
) -> int:
    config = folder.config()
    engine = station.engine
    station.watch(_print_done)
    began = datetime.now().astimezone()
    endpointer = endpointer_for(config.listening)
    live = frames is None and not args.typed
    echo = make_echo(config.speaking, endpointer, silent=not (live or args.realtime))
    echo.mute(args.mute or config.speaking.muted)
    echo.on_fault(lambda says: _print({"event": "fault", "voice": says}))
    echo.on_sounding(lambda sounding: _print({"event": "echo", "sounding": sounding}))
    station.watch(echo.tell)
    tapes: Tapes | None = None
    try:
        station.open(station.plot_to_begin(args.plot), who, began)
        if engine is not None:
            _print({"event": "ready", "engine": engine.name, "model": engine.model})
        tapes = Tapes(station, config, _print_notice)
        listening = Listening(
            station, endpointer, began, config.listening.reminder_s, set_aside=_print_set_aside
        )
        if args.typed:
            _from_standard_input(station)
        elif frames is not None:
            listening.run(frames, args.realtime)
        else:
            _from_microphone(config.listening.microphone, listening, echo)
    finally:
        if tapes is not None:
            tapes.close()
        echo.close()
    _print({"event": "stopped"})
    return 0


def _from_standard_input(station: Station) -> None:
    for line in sys.stdin:
        if line.strip():
            station.type(line.strip())


def _from_microphone(name: str, listening: Listening, echo: Echo) -> None:
    from callout.sound.microphone import Microphone

    with Microphone(name or None) as microphone:
        _print({"event": "listening", "microphone": microphone.name})
        echo.heard_by(microphone)
        for frame in microphone.frames():
            listening.take(frame)


def _print_done(done: Done) -> None:
    for line in done_json(done):
        _print(line)


def _print_notice(notice: DeviceNotice) -> None:
    refused = {reason.name.lower(): count for reason, count in notice.refused.items()}
    _print(
        {
            "event": "device", "device": notice.device, "kind": notice.kind.value,
            "text": notice.text, "battery": notice.battery, "refused": refused,
        }
    )  # fmt: skip


def _print_set_aside(item: Any) -> None:
    _print(
        {
            "event": "set_aside",
            "reason": item.reason.value,
            "start": round(item.utterance.start_s, 2),
            "end": round(item.utterance.end_s, 2),
        }
    )


def _print(line: dict[str, Any]) -> None:
    # One write a line: several threads print.
    sys.stdout.write(json.dumps(line, ensure_ascii=False) + "\n")
    sys.stdout.flush()
