"""``callout demo``: the main job on an invented survey, from a bundled recording."""

from __future__ import annotations

import argparse
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from callout.cli.shown import rich_console
from callout.core.events import Save, Say
from callout.crews.place import read_place
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.reports.readings import current_rows
from callout.sound.frames import SAMPLE_RATE_HZ, frames_of
from callout.sound.sound_files import encode_flac, read_sound
from callout.station.build import endpointer_for, make_station
from callout.station.data import data_folder
from callout.station.done import Done
from callout.station.hearing.listening import Listening
from callout.station.showing.safety import CAUTION
from callout.wording.wording import Wording


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("demo")
    parser.add_argument("--into", type=Path, help="folder to make (default: a new one in /tmp)")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the survey, play the walk, show the echo, the table, and where the files are."""
    console = rich_console(highlight=False, soft_wrap=True)
    path = args.into or Path(tempfile.mkdtemp(prefix="callout-demo-")) / "harrow-fen"
    folder = make_demo_survey(path, datetime.now().astimezone())
    samples = read_sound(data_folder("audio_fixtures") / "walk.flac")
    station = make_station(folder, encode_flac, "auto")
    try:
        engine = station.engine
        assert engine is not None
        console.print(f"[bold]Callout demo[/]: invented site Harrow Fen, plot K1, in {path}")
        console.print(station.wording.shown(*CAUTION))
        console.print(f"Listening: {engine.name}, {engine.model}")
        times: list[float] = []
        began = datetime.now().astimezone()
        with _progress(console) as progress:
            task = progress.add_task("the walk", total=len(samples) / SAMPLE_RATE_HZ)

            def show(done: Done) -> None:
                if done.engine_s:
                    times.append(done.engine_s)
                _show(progress.console, done, station.wording)

            station.watch(show)
            station.open("K1", "R.V.", began)
            listening = Listening(station, endpointer_for(folder.config().listening), began, 1e9)
            for frame in frames_of(samples):
                listening.take(frame)
                progress.update(task, completed=frame.end_s)
            listening.finish()
    finally:
        station.close()
    _print_table(console, folder)
    _print_places(console, folder, times, len(samples) / SAMPLE_RATE_HZ)
    return 0


def _progress(console: Console) -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.completed:.0f} s of sound"),
        TimeElapsedColumn(),
        console=console,
    )


def _show(console: Console, done: Done, wording: Wording) -> None:
    words = getattr(done.event, "words", "")
    if words:
        console.print(f"  heard  {words}", markup=False)
    for effect in done.effects:
        if isinstance(effect, Say):
            told = wording.shown(*effect.says)
            console.print(f"  echo   {told}", markup=False, style="bold")
        elif isinstance(effect, Save):
            reading = effect.reading
            console.print(f"  on disk: entry {reading.entry}, tree {reading.tag}", markup=False)


def _print_table(console: Console, folder: SurveyFolder) -> None:
    table = Table("tag", "species", "status", "as heard", "recorded", "unit", "warnings accepted")
    for row in current_rows(read_place(folder.path)):
        table.add_row(
            row["tag"],
            row["species"],
            row["status"],
            row["raw"],
            row["recorded"],
            row["unit"],
            ", ".join(row["warnings"]),
        )
    console.print(table)


def _print_places(
    console: Console, folder: SurveyFolder, times: list[float], sound_s: float
) -> None:
    if times:
        median = sorted(times)[len(times) // 2]
        console.print(
            f"Recogniser: median {median * 1000:.0f} ms, worst {max(times) * 1000:.0f} ms an "
            f"utterance; {sum(times) / sound_s:.3f} of real time."
        )
    places = {
        "settings": folder.settings,
        "journal": folder.database,
        "sound": folder.path / "audio",
    }
    for label, where in places.items():
        console.print(f"{label:9}{where}", markup=False, soft_wrap=True)
    console.print(f"Again as a table: callout readings {folder.path}", markup=False, soft_wrap=True)
