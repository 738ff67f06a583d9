"""``callout listen --headless``: the working day in JSON lines on standard output."""

from __future__ import annotations

import argparse
import json
import sys
import threading
from collections.abc import Iterator
from datetime import date
from typing import Any, TextIO

from callout.cli.field.day import Day, day_of
from callout.core.errors import StorageError
from callout.core.saying import Saying
from callout.devices.measurement import DeviceNotice
from callout.journal.folder import SurveyFolder, open_survey
from callout.station.done import Done
from callout.station.post import Post, Told
from callout.station.showing.done_lines import done_json
from callout.station.showing.safety import CAUTION, kept_told, shown_today
from callout.station.station import Station
from callout.wording.wording import Wording

_MOST_LINE = 20_000


def run_headless(args: argparse.Namespace) -> int:
    """Work until the sound, or standard input, ends; at the daemon's side where one runs."""
    folder = open_survey(args.survey)
    if args.audio is None:
        from callout.cli.field.listen_attached import attach

        if (code := attach(args, _typed() if args.typed else None)) is not None:
            return code
    with day_of(args, folder) as day:
        return _work(args, folder, day)


def _work(args: argparse.Namespace, folder: SurveyFolder, day: Day) -> int:
    station, work = day.station, day.work
    wording = station.wording
    station.watch(lambda done: _print_done(done, wording))
    to = Told(
        fault=lambda name, says: _print(_fault_line(name, says, wording)),
        device=lambda notice: _print_notice(notice, wording),
        sounding=lambda sounding: _print({"event": "echo", "sounding": sounding}),
        set_aside=_print_set_aside,
        microphone=lambda name: _print({"event": "listening", "microphone": name}),
    )
    post = Post(folder, station, day.clock, work)
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
        _print({"event": "caution", "text": wording.shown(*CAUTION), "kept": kept})


def _from_standard_input(station: Station) -> None:
    for line in _typed():
        station.type(line)


def _typed() -> Iterator[str]:
    """What is typed on standard input, a callout a line."""
    return (line.strip() for line in _lines(sys.stdin) if line.strip())


def _lines(stream: TextIO) -> Iterator[str]:
    """The stream's lines; only the beginning of one that is far too long, to bound memory."""
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
    # One write per line: several threads print.
    sys.stdout.write(json.dumps(line, ensure_ascii=False) + "\n")
    sys.stdout.flush()
