"""``callout listen``: the working day, with the terminal screen or headless.

Where the survey's daemon runs, the screen attaches to it; otherwise the command works by itself.
"""

from __future__ import annotations

import argparse
import json
import sys
import threading
from collections.abc import Iterator
from datetime import date
from typing import Any, TextIO

from callout.cli.working import add_working_options, check_options, frames_of, login, work_of
from callout.core.errors import OperatorError, StorageError
from callout.core.saying import Saying
from callout.devices.measurement import DeviceNotice
from callout.journal.folder import SurveyFolder, open_survey
from callout.sound.sound_files import encode_flac
from callout.station.build import make_station
from callout.station.done import Done
from callout.station.done_lines import done_json
from callout.station.post import Post, Told, Work
from callout.station.safety import CAUTION, kept_told, shown_today
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.sealing import seal_session
from callout.wording.wording import Wording

_MOST_LINE = 20_000


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("listen")
    add_working_options(parser)
    parser.add_argument("--headless", action="store_true", help="no screen; JSON lines on stdout")
    parser.add_argument(
        "--typed", action="store_true",
        help="with --headless: callouts from standard input, one a line, no microphone",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Work until the sound ends or the person stops."""
    check_options(args)
    if args.typed and (args.audio or not args.headless):
        raise OperatorError("--typed goes with --headless and without --audio")
    if not args.headless and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise OperatorError("the screen needs a terminal: run it in one, or give --headless")
    folder = open_survey(args.survey)
    frames = frames_of(args.audio) if args.audio else None
    if frames is None and not args.headless:
        from callout.cli.field.listen_attached import attach

        if (code := attach(folder, args)) is not None:
            return code
    clock = Clock()
    silenced: list[Saying] = []
    # A recording wants a recogniser; a person can type.
    or_without = None if args.audio else silenced.append
    station = make_station(
        folder, encode_flac, args.engine, args.model, clock=clock, or_without=or_without,
        who=args.who or login(),
    )  # fmt: skip
    try:
        work = work_of(
            args, folder, station, frames, silenced[0] if silenced else None, typed=args.typed
        )
        if args.headless:
            return _headless(args, folder, station, clock, work)
        from callout.cli.field.listen_screen import run_screen

        return run_screen(folder, station, clock, work)
    finally:
        _seal(folder, station, args.headless)
        station.close()


def _seal(folder: SurveyFolder, station: Station, headless: bool) -> None:
    sealed, trouble = seal_session(folder, station)
    if sealed and not headless:
        print(f"sealed: {sealed}")
    if trouble:
        print(f"callout: {trouble}", file=sys.stderr)


def _headless(
    args: argparse.Namespace,
    folder: SurveyFolder,
    station: Station,
    clock: Clock,
    work: Work,
) -> int:
    wording = station.wording
    station.watch(lambda done: _print_done(done, wording))
    to = Told(
        fault=lambda name, says: _print(_fault_line(name, says, wording)),
        device=lambda notice: _print_notice(notice, wording),
        sounding=lambda sounding: _print({"event": "echo", "sounding": sounding}),
        set_aside=_print_set_aside,
        microphone=lambda name: _print({"event": "listening", "microphone": name}),
    )
    post = Post(folder, station, clock, work)
    try:
        post.begin(to)
        if work.frames is None and not args.typed:
            _print_cautions(folder, wording)
        if (engine := station.engine) is not None:
            _print({"event": "ready", "engine": engine.name, "model": engine.model})
        if args.typed:
            _from_standard_input(station)
        else:
            post.listen(threading.Event(), must_open=True)
    finally:
        post.close()
    _print({"event": "stopped"})
    if station.refusals:
        raise StorageError(
            f"the disk refused {station.refusals} times: what was said then was not saved; "
            "free space or check permissions, then say it again"
        )
    return 0


def _print_cautions(folder: SurveyFolder, wording: Wording) -> None:
    if not shown_today(folder.path, date.today()):  # noqa: DTZ011
        kept = wording.shown(kept_told(folder.config().keeping))
        _print({"event": "caution", "text": wording.shown(CAUTION), "kept": kept})


def _from_standard_input(station: Station) -> None:
    for line in _lines(sys.stdin):
        if line.strip():
            station.type(line.strip())


def _lines(stream: TextIO) -> Iterator[str]:
    """The stream's lines; of one that is far too long its beginning, so that memory is bounded."""
    while line := stream.readline(_MOST_LINE):
        yield line
        while len(line) == _MOST_LINE and not line.endswith("\n"):
            line = stream.readline(_MOST_LINE)


def _print_done(done: Done, wording: Wording) -> None:
    for line in done_json(done, wording):
        _print(line)


def _fault_line(name: str, says: Saying | None, wording: Wording) -> dict[str, Any]:
    if says is None:
        return {"event": "fault", name: None}
    return {"event": "fault", name: wording.part(says), "says": says.as_json()}


def _print_notice(notice: DeviceNotice, wording: Wording) -> None:
    refused = {reason.name.lower(): count for reason, count in notice.refused.items()}
    _print(
        {
            "event": "device",
            "device": notice.device,
            "kind": notice.kind.value,
            "text": wording.part(notice.says),
            "says": notice.says.as_json(),
            "battery": notice.battery,
            "refused": refused,
        }
    )


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
