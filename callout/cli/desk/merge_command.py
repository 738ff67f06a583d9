"""``callout merge``: the journals of several recorders united into one site.

Reads options, prints, and asks about trees that were measured twice; uniting is in ``crews``.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.markup import escape

from callout.cli.asking import needed
from callout.cli.shown import rich_console
from callout.core.counted import counted
from callout.core.unseen import spelt
from callout.crews.merge import Merged, merge, parts_of
from callout.crews.place import Standing, read_place
from callout.crews.site import Site
from callout.crews.site_rulings import add_rulings
from callout.crews.twice import Disagreement, disagreements, reading_told
from callout.journal.codec import stamp
from callout.journal.rulings import Ruling
from callout.office.ruling import one_line
from callout.reports.quality.agreement import Tolerance
from callout.station.upkeep.table_check import table_faults

MOST_LINES = 20
UNRULED = (
    "Until somebody rules, both readings are kept and marked in every table and export. Growth "
    "leaves such a tree out; stand figures take the reading without a warning, else the later one."
)


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "merge",
        description="Order does not matter, and merging again adds only what is new. Trees that "
        "two recorders measured and that disagree are listed, and asked about on a terminal.",
    )
    parser.add_argument(
        "surveys", type=Path, nargs="+", metavar="SURVEY", help="survey folders or united sites"
    )
    parser.add_argument("--into", type=Path, required=True, metavar="SITE")
    parser.add_argument("--ask-nothing", action="store_true", help="list, but ask for no rulings")
    parser.add_argument(
        "--replace",
        metavar="RECORDER",
        default="",
        help="the site's copy of this recorder was taken wrongly: put it aside, take this one",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Unite, report what is new, and ask for the rulings that are wanted."""
    console = rich_console(stderr=True)
    parts = []
    with console.status("") as status:
        for path in args.surveys:
            status.update(f"checking {escape(spelt(str(path)))}")
            found = parts_of(path, table_faults)
            parts += found
            if not found:
                print(f"note: {path} has not been opened yet and holds nothing to unite")
        done = merge(
            parts,
            args.into,
            lambda told: status.update(f"writing {escape(spelt(told))}"),
            args.replace,
        )
    _tell(done, args.into)
    place = read_place(args.into)
    for note in place.notes:
        print(f"note: {note}")
    differing = disagreements(place.standing, Tolerance().allowed)
    if not differing:
        print("no tree was measured twice with values that disagree")
        return 0
    print(f"measured twice and disagreeing: {len(differing)}")
    if sys.stdin.isatty() and not args.ask_nothing:
        return _ask(done.site, differing)
    _list(args.into, differing)
    return 0


def _tell(done: Merged, into: Path) -> None:
    for recorder in done.recorders:
        new, sounds = done.new[recorder.id], done.sounds.get(recorder.id, 0)
        what = (
            f"{counted(new, 'new entry', 'new entries')}, {counted(sounds, 'new sound')}"
            if new or sounds
            else "nothing new"
        )
        print(f"recorder {recorder.told}: {what}")
    for note in done.notes:
        print(f"note: {note}")
    print(f"united: {into}")


def _list(site: Path, differing: Sequence[Disagreement]) -> None:
    for pair in differing[:MOST_LINES]:
        print(f"  {pair.told}")
    if len(differing) > MOST_LINES:
        print(f"  and {len(differing) - MOST_LINES} more: 'callout readings {site}' lists them all")
    first = differing[0].second
    print(
        f"{UNRULED}\nRule with callout rule {site} --entry {first.name} --void --reason … --who …, "
        f"or on the page of callout office {site}"
    )


# ---- asking ----


def _ask(site: Site, differing: Sequence[Disagreement]) -> int:
    """Ask about one tree after another; each answer is journalled before the next is asked."""
    who, ruled = "", 0
    settled: set[tuple[str, int]] = set()
    try:
        for pair in differing:
            if _named(pair.first) in settled or _named(pair.second) in settled:
                continue  # a third reading of the tree: what is still open shows on the next merge
            print(f"\n{pair.told}")
            print(f"  1  {reading_told(pair.first)}\n  2  {reading_told(pair.second)}")
            answer = _answer("Which stands? [1, 2, b for both, v to void both, Enter for later] ")
            if not answer:
                continue
            who = needed("Who rules?", lambda given: one_line("name", given), who)
            reason = needed("Why?", lambda given: one_line("reason", given))
            at = stamp(datetime.now().astimezone())
            add_rulings(site, _ruled(pair, answer, reason, who), at)
            settled |= {_named(pair.first), _named(pair.second)}
            ruled += 1
    except EOFError:
        print("\nno answer: that tree was not ruled on")
    left = len(disagreements(read_place(site.path).standing, Tolerance().allowed))
    print(f"ruled on {counted(ruled, 'tree')}; {left} left for later")
    if left:
        print(UNRULED)
    return 0


def _named(item: Standing) -> tuple[str, int]:
    return item.recorder, item.reading.entry


def _answer(question: str) -> str:
    while (answer := input(question).strip().lower()) not in ("", "1", "2", "b", "v"):
        print(f"{answer!r} is none of them")
    return answer


def _ruled(pair: Disagreement, answer: str, reason: str, who: str) -> list[tuple[str, Ruling]]:
    kept = {"1": (True, False), "2": (False, True), "b": (True, True), "v": (False, False)}[answer]
    return [
        (
            item.recorder,
            Ruling(
                reading=item.reading.entry,
                verdict="stands" if stays else "void",
                value=None,
                unit=item.reading.unit.value,
                reason=reason,
                who=who,
            ),
        )
        for item, stays in zip((pair.first, pair.second), kept, strict=True)
    ]
