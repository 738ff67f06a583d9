"""``callout rebuild``: the tables rebuilt from the journal, and compared with those on disk."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.journal.folder import open_survey
from callout.proof.verify import chain_faults, take_snapshot
from callout.station.hearing.engines import ENGINES
from callout.station.upkeep.rebuild import rebuild
from callout.station.upkeep.table_check import table_faults

DIFFERENT = 1


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "rebuild",
        description="Exit code 0: the same, bit for bit. 1: different, or a broken journal.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--into", type=Path, required=True, metavar="FOLDER", help="a new folder")
    parser.add_argument(
        "--from-sound",
        choices=("callouts", "session"),
        help="make the journal itself anew from its callouts' sound, or from whole sessions' sound",
    )
    parser.add_argument("--engine", choices=ENGINES, help="with --from-sound: which one hears")
    parser.add_argument("--model", default="", help="folder of a Vosk model")
    parser.add_argument(
        "--sound-only", action="store_true", help="with --from-sound: leave out keys and typing"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Refuse a broken journal; else make the folder and print the differences."""
    folder = open_survey(args.survey)
    if not args.from_sound and (args.engine or args.model or args.sound_only):
        raise OperatorError("--engine, --model and --sound-only go with --from-sound")
    snapshot = take_snapshot(folder.database)
    broken = [*chain_faults(snapshot.entries), *snapshot.faults]
    if broken:
        print(f"nothing was made: the journal is broken; {broken[0]}")
        return DIFFERENT
    if args.from_sound:
        from callout.cli.disputes.rebuild_heard import hear_anew

        return hear_anew(args, folder)
    made = rebuild(folder, snapshot, args.into)
    count = sum(len(rows) for rows in take_snapshot(made.database).tables.values())
    differences = table_faults(snapshot)
    for fault in differences:
        print(fault)
    told = f"{len(differences)} rows differ" if differences else "the same, bit for bit"
    print(f"{made.path}: {len(snapshot.entries)} entries, {count} rows made anew; {told}")
    return DIFFERENT if differences else 0
