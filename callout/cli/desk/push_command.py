"""``callout push``: a survey's or site's journals, to the office's PostgreSQL database.

Reads options and prints; sending is in ``crews``.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import Progress

from callout.cli.shown import rich_console
from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.crews.merge import Part, parts_of
from callout.crews.office_database import Office, open_office
from callout.crews.office_tables import DEFAULT_SCHEMA
from callout.crews.push import Pushed, push
from callout.journal.removals import sound_of
from callout.station.upkeep.table_check import table_faults

ADDRESS = "CALLOUT_OFFICE"


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "push",
        description="Sends what the office does not have yet, each entry exactly once; cut short, "
        "it goes on where it stopped. A password is better kept in PGPASSWORD or ~/.pgpass than in "
        "the address, where others on this computer can see it.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument(
        "address",
        nargs="?",
        metavar="URL",
        help=f"postgresql://user@host:port/database (default: the environment's {ADDRESS})",
    )
    parser.add_argument("--schema", default=DEFAULT_SCHEMA, help="where the office's tables lie")
    parser.add_argument("--no-sounds", action="store_true", help="send no sounds this time")
    parser.add_argument(
        "--replace",
        action="store_true",
        help="what the office has of this survey's recorder was taken wrongly: put it aside there",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Send every recorder's journal and report what was new."""
    address = args.address or os.environ.get(ADDRESS, "")
    if not address:
        raise OperatorError(f"where to? give the office's URL, or set {ADDRESS}")
    console = rich_console(stderr=True)
    with console.status(f"checking {args.survey}"):
        parts = parts_of(args.survey, table_faults)
    if not parts:
        print(f"{args.survey} has not been opened yet: there is nothing to send")
        return 0
    office = open_office(address, args.schema)
    try:
        for part in parts:
            done = _send(console, office, part, args)
            told = (
                f"{counted(done.entries, 'new entry', 'new entries')}, "
                f"{counted(done.sounds, 'new sound')}"
            )
            print(f"recorder {part.recorder.told}: {told}")
            for note in done.notes:
                print(f"note: {note}")
    finally:
        office.close()
    return 0


def _send(console: Console, office: Office, part: Part, args: argparse.Namespace) -> Pushed:
    entries = part.snapshot.entries
    sounds = 0 if args.no_sounds else len({sound_of(entry) for entry in entries} - {None})
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(f"sending {part.recorder.short}", total=len(entries) + sounds)
        return push(
            office,
            part,
            args.survey.resolve().name,
            lambda count: progress.advance(task, count),
            sounds=not args.no_sounds,
            replace=args.replace,
        )
