"""``callout practice``: an invented plot to walk by voice, typing or tape, and a score.

Needs no survey: it makes one, in a folder of its own, and works through the ordinary session.
"""

from __future__ import annotations

import argparse
import secrets
import sys
import tempfile
import threading
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from callout.cli.field.day import frames_of
from callout.cli.shown import rich_console
from callout.cli.working import login
from callout.core.errors import OperatorError
from callout.core.events import Say
from callout.core.model import PlotSettings
from callout.core.units import parse_unit
from callout.core.unseen import spelt
from callout.journal.folder import make_survey
from callout.practice.drill import HOW, HOW_CHECKED, one_by_one
from callout.practice.practice import PLOT, Card, Score, drilled, invented, misheard_told, summary
from callout.sound.sound_files import encode_flac
from callout.station.build import make_station
from callout.station.done import Done
from callout.station.post import Post, Told, Work
from callout.station.showing.safety import CAUTION
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.survey.config import measuring_from
from callout.wording.language_files import english

MOST_TREES = 100


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("practice")
    parser.add_argument("--trees", type=int, default=12, help=f"how many, 1 to {MOST_TREES}")
    parser.add_argument("--unit", default="cm", help="in or cm")
    parser.add_argument("--number", type=int, help="the same number gives the same plot")
    parser.add_argument(
        "--digits", action="store_true", help="numbers that sound alike, said figure by figure"
    )
    parser.add_argument(
        "--check-digit", action="store_true", help="with --digits: tags that end in a check digit"
    )
    parser.add_argument("--into", type=Path, metavar="FOLDER", help="default: a new one in /tmp")
    parser.add_argument("--typed", action="store_true", help="from standard input, no microphone")
    parser.add_argument("--audio", type=Path, metavar="FILE", help="sound file for a microphone")
    parser.add_argument("--engine", default=None, help="as in 'callout listen'")
    parser.add_argument("--model", default=None, help="folder of a Vosk model")
    parser.add_argument("--mute", action="store_true", help="do not speak the echo")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the plot, show one card per tree, and print the score at the end."""
    if args.typed and args.audio:
        raise OperatorError("--typed goes without --audio")
    if args.check_digit and not args.digits:
        raise OperatorError("--check-digit goes with --digits")
    if not 1 <= args.trees <= MOST_TREES:
        raise OperatorError(f"--trees {args.trees}: give 1 to {MOST_TREES}")
    unit = parse_unit(args.unit)
    if unit.value not in ("in", "cm"):
        raise OperatorError(f"--unit {args.unit}: give in or cm")
    frames = frames_of(args.audio) if args.audio else None
    number = secrets.randbelow(100_000) if args.number is None else args.number
    trees, cards = (
        drilled(number, args.trees, unit, checked=args.check_digit)
        if args.digits
        else invented(number, args.trees, unit)
    )
    path = args.into or Path(tempfile.mkdtemp(prefix="callout-practice-")) / "plot"
    measuring = measuring_from("", {"unit": unit.value}, None)
    plots = {PLOT: PlotSettings(**{**vars(measuring), "plot": PLOT})}
    folder = make_survey(path, trees, measuring, plots, datetime.now().astimezone().isoformat())
    clock, console = Clock(), rich_console(highlight=False, soft_wrap=True)
    console.print(f"Invented plot, number {number}, in {path}. Nobody's data.", markup=False)
    console.print(english().shown(*CAUTION), markup=False)
    for line in (HOW,) * args.digits + (HOW_CHECKED,) * args.check_digit:
        console.print(line, markup=False)
    station = make_station(
        folder,
        encode_flac,
        args.engine,
        args.model,
        clock=clock,
        hears=not args.typed or bool(args.engine),
    )
    score, left = Score(cards), False
    try:
        silent = args.typed or frames is not None
        work = Work(PLOT, login(), frames, silent=silent, muted=args.mute)
        _walk(args, console, Post(folder, station, clock, work), score)
    except KeyboardInterrupt:
        left = True
    finally:
        station.close()
    if left:
        console.print("\nLeft before the end; this is how it went.", markup=False)
    _print_score(console, score)
    console.print(misheard_told(score.tried, by_figures=args.digits), markup=False)
    return 0


def _walk(args: argparse.Namespace, console: Console, post: Post, score: Score) -> None:
    leaving = threading.Event()
    unit, digits = args.unit, args.digits
    wording = post.station.wording

    def show(done: Done) -> None:
        before, wrong = score.current, score.wrong
        score.take(done)
        for effect in done.effects:
            if isinstance(effect, Say):
                console.print(f"  echo   {spelt(wording.shown(*effect.says))}", markup=False)
        if score.wrong > wrong and before is not None:
            _tell_wrong(console, score, before, unit)
        if score.current is None:
            leaving.set()
        elif score.current is not before or before is None:
            _show_card(console, score, unit, digits)

    post.station.watch(show)
    try:
        post.begin(Told())
        _show_card(console, score, unit, digits)
        if args.typed:
            _typed(post.station, score)
        else:
            post.listen(leaving, must_open=True)
    finally:
        post.close()


def _tell_wrong(console: Console, score: Score, card: Card, unit: str) -> None:
    """At once, while the person still knows what was said."""
    saved = next(item for item in score.tried if item.card is card).wrong[-1]
    console.print(
        f"  WRONG  saved {spelt(saved)}; the card says {card.tag} {card.size} {unit}. Say undo, "
        "then call it again: listen to the echo before you confirm.",
        style="bold red",
        markup=False,
    )


def _show_card(console: Console, score: Score, unit: str, digits: bool) -> None:
    card = score.current
    if card is not None:
        console.print(f"CALL     tree {card.tag}, the tape shows {card.size} {unit}", style="bold")
        if digits:
            console.print(f"  say    {_said(card)}", markup=False)


def _said(card: Card) -> str:
    return f"tree {one_by_one(card.tag)}, {one_by_one(str(card.size))}"


def _typed(station: Station, score: Score) -> None:
    for line in sys.stdin:
        if line.strip():
            station.type(line.strip())
        if score.current is None:
            return


def _print_score(console: Console, score: Score) -> None:
    table = Table("tag", "tape", "right first time", "asked again", "saved wrong", "seconds")
    for item in score.tried:
        seconds = "-" if item.seconds is None else f"{item.seconds:.1f}"
        first = "yes" if item.first_time else ("no" if item.seconds is not None else "not done")
        table.add_row(
            item.card.tag,
            str(item.card.size),
            first,
            str(item.asked_again or ""),
            ", ".join(item.wrong),
            seconds,
        )
    console.print(table)
    console.print(summary(score.tried), markup=False)
