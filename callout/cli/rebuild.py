"""``callout rebuild``: the tables made anew from the journal, and held against those on disk."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from callout.journal.folder import open_survey
from callout.journal.verify import chain_faults, take_snapshot
from callout.station.rebuild import rebuild, table_faults

DIFFERENT = 1


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "rebuild",
        help="make the tables anew from the journal, into a new folder",
        description="Exit code 0: the same, bit for bit. 1: different, or a broken journal.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--into", type=Path, required=True, metavar="FOLDER", help="a new folder")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Refuse a broken journal; else make the folder and tell what differs."""
    folder = open_survey(args.survey)
    snapshot = take_snapshot(folder.database)
    broken = [*chain_faults(snapshot.entries), *snapshot.faults]
    if broken:
        print(f"nothing was made: the journal is broken; {broken[0]}")
        return DIFFERENT
    made = rebuild(folder, snapshot, args.into)
    count = sum(len(rows) for rows in take_snapshot(made.database).tables.values())
    differences = table_faults(snapshot)
    for fault in differences:
        print(fault)
    told = f"{len(differences)} rows differ" if differences else "the same, bit for bit"
    print(f"{made.path}: {len(snapshot.entries)} entries, {count} rows made anew; {told}")
    return DIFFERENT if differences else 0
