"""``callout replay``: the moments of a tree, a day, a person; heard again, by ear or engine."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from callout.core.errors import OperatorError
from callout.core.units import parse_decimal
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.verify import take_snapshot
from callout.sound.files import decode_flac
from callout.station.data import load_language
from callout.station.engines import ENGINES, choose_engine
from callout.station.rehear import (
    SAME,
    SEVERITY,
    Again,
    Ear,
    hear_again,
    hear_by_many,
    with_sound,
)
from callout.station.replay import Moment, Wanted, chosen, moments
from callout.station.scopes import survey_species
from callout.station.telling import again_json, lines_of, moment_json


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "replay", help="list what was said of a tree, play it, hear it again with any engine"
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--tree", metavar="TAG", help="what was said of this tree")
    parser.add_argument("--plot", help="only in this plot")
    parser.add_argument("--date", type=date.fromisoformat, help="only on this day, as 2026-06-02")
    parser.add_argument("--who", help="only by this measurer")
    parser.add_argument(
        "--warning", nargs="?", const="", metavar="CHECK",
        help="only readings saved with a warning (of this check)",
    )  # fmt: skip
    parser.add_argument("--below", metavar="CONFIDENCE", help="only heard with less confidence")
    parser.add_argument("--all", action="store_true", help="every moment of the survey")
    parser.add_argument(
        "--engine", choices=ENGINES, help="hear them again; differences worst first"
    )
    parser.add_argument("--model", default="", help="folder of a Vosk model")
    parser.add_argument(
        "--processes", type=int, default=1, help="hear by this many processes, for a season"
    )
    parser.add_argument("--play", action="store_true", help="play them through the speaker")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List the moments wanted, or where today's hearing of them differs."""
    folder = open_survey(args.survey)
    wanted = _wanted(args)
    if not 1 <= args.processes <= 64:
        raise OperatorError(f"--processes {args.processes}: from 1 to 64")
    if wanted == Wanted() and not args.all:
        raise OperatorError("say which moments: --tree, --plot, --date, --who, … or --all")
    snapshot = take_snapshot(folder.database)
    if snapshot.faults:
        raise OperatorError(f"{snapshot.faults[0]}: 'callout verify {folder.path}' tells more")
    found = list(chosen(moments(snapshot.entries), wanted))
    if not found:
        print("no such moments", file=sys.stderr)
    if args.engine:
        _compare(args, folder, found)
    else:
        _list(args, folder, found)
    return 0


def _wanted(args: argparse.Namespace) -> Wanted:
    below = None if args.below is None else parse_decimal(args.below)
    if below is not None and not 0 <= below <= 1:
        raise OperatorError(f"--below {args.below}: confidence runs from 0 to 1")
    tree = args.tree.upper() if args.tree else args.tree
    return Wanted(tree, args.plot, args.date, args.who, args.warning, below)


def _list(args: argparse.Namespace, folder: SurveyFolder, found: Sequence[Moment]) -> None:
    for moment in found:
        if args.json:
            print(json.dumps(moment_json(moment), ensure_ascii=False))
        else:
            print("\n".join(lines_of(moment)))
    if args.play:
        _play(folder, found)


def _play(folder: SurveyFolder, found: Sequence[Moment]) -> None:
    from callout.sound.speaker import Speaker

    with_sound = [item for item in found if item.heard.audio and item.removed_by is None]
    speaker = Speaker(folder.config().speaking.speaker or None)
    try:
        for moment in with_sound:
            print(f"playing entry {moment.entry}: {moment.heard.words}", file=sys.stderr)
            speaker.play(decode_flac(folder.audio.read(str(moment.heard.audio))))
    finally:
        speaker.close()


def _compare(args: argparse.Namespace, folder: SurveyFolder, found: Sequence[Moment]) -> None:
    config = folder.config()
    with folder.reading() as reader:
        plots = reader.plots()
    language = load_language(config.language, survey_species(plots.values()))
    model = args.model or config.listening.vosk_model
    engine = choose_engine(args.engine, language, model)
    heard = list(with_sound(found))
    started = time.perf_counter()
    results = []
    with _progress() as progress:
        task = progress.add_task(engine.name, total=len(heard))
        again_of: Iterable[Again] = hear_again(heard, engine, language, plots, folder.audio)
        if args.processes > 1:
            ear = Ear(args.engine, model, config.language, plots, folder.audio)
            again_of = hear_by_many(heard, ear, args.processes)
        for again in again_of:
            results.append(again)
            progress.advance(task)
    took_s = time.perf_counter() - started
    results.sort(key=lambda again: (*again.weight, again.moment.entry))
    for again in results:
        _print_again(again, args.json)
    seconds = sum((Decimal(str(again.seconds)) for again in results), Decimal(0))
    summary = f"{len(results)} sounds, {seconds:.0f} s, heard by {engine.name} ({engine.model})"
    print(f"{summary} in {took_s:.1f} s", file=sys.stderr)
    for severity, told in SEVERITY.items():
        count = sum(again.severity == severity for again in results)
        if count:
            print(f"{count:6} {told}", file=sys.stderr)


def _progress() -> Progress:
    return Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
        TimeRemainingColumn(), console=Console(stderr=True), transient=True,
    )  # fmt: skip


def _print_again(again: Again, as_json: bool) -> None:
    if as_json:
        print(json.dumps(again_json(again), ensure_ascii=False))
    elif again.severity != SAME:
        now = again.fault or again.words or "nothing"
        print("\n".join([f"-- {SEVERITY[again.severity]}", *lines_of(again.moment)]))
        print(f"  today      {now}" + (f" ({again.confidence:.2f})" if again.words else ""))
