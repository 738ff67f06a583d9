"""How ``callout replay`` hears moments again with an engine, and prints the differences."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Sequence
from decimal import Decimal

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from callout.cli.shown import rich_console
from callout.core.checking.checks_plot import how_sure
from callout.core.counted import counted
from callout.journal.folder import SurveyFolder
from callout.lookback.rehear import (
    SAME,
    SEVERITY,
    Again,
    Ear,
    hear_again,
    hear_by_many,
    language_for,
    with_sound,
)
from callout.lookback.replay import Moment
from callout.lookback.telling import again_json, lines_of
from callout.station.hearing.engines import choose_engine
from callout.wording.language_files import load_wording
from callout.wording.wording import Wording


def compare(args: argparse.Namespace, folder: SurveyFolder, found: Sequence[Moment]) -> None:
    """Hear the moments with the requested engine and print the differences, worst first."""
    config = folder.config()
    with folder.reading() as reader:
        plots = reader.plots()
    language = language_for(config.language, plots, args.grammar)
    model = args.model or config.listening.vosk_model
    engine = choose_engine(args.engine, language, model)
    wording = load_wording(config.language)
    heard = list(with_sound(found))
    started = time.perf_counter()
    results = []
    with _progress() as progress:
        task = progress.add_task(engine.name, total=len(heard))
        again_of: Iterable[Again] = hear_again(heard, engine, language, plots, folder.audio)
        if args.processes > 1:
            ear = Ear(args.engine, model, config.language, plots, folder.audio, args.grammar)
            again_of = hear_by_many(heard, ear, args.processes)
        for again in again_of:
            results.append(again)
            progress.advance(task)
    took_s = time.perf_counter() - started
    results.sort(key=lambda again: (*again.weight, again.moment.entry))
    for again in results:
        _print_again(again, args.json, wording)
    seconds = sum((Decimal(str(again.seconds)) for again in results), Decimal(0))
    many = counted(len(results), "sound")
    summary = f"{many}, {seconds:.0f} s, heard by {engine.name} ({engine.model})"
    print(f"{summary} in {took_s:.1f} s", file=sys.stderr)
    for severity, told in SEVERITY.items():
        count = sum(again.severity == severity for again in results)
        if count:
            print(f"{count:6} {told}", file=sys.stderr)


def _progress() -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=rich_console(stderr=True),
        transient=True,
    )


def _print_again(again: Again, as_json: bool, wording: Wording) -> None:
    if as_json:
        print(json.dumps(again_json(again), ensure_ascii=False))
    elif again.severity != SAME:
        now = again.fault or again.words or "nothing"
        print("\n".join([f"-- {SEVERITY[again.severity]}", *lines_of(again.moment, wording)]))
        print(
            f"  today      {now}"
            + (f" ({how_sure(round(again.confidence, 2))})" if again.words else "")
        )
