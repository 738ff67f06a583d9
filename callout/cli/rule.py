"""``callout rule``: a reviewer's ruling on one reading, or a file of them from the review page."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.journal.folder import open_survey
from callout.station.ruling import Proposed, read_rulings, rule


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "rule", help="rule on a reading: it stands, is amended, or void; the original stays"
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--entry", type=int, help="the journal entry that saved the reading")
    verdict = parser.add_mutually_exclusive_group(required=True)
    verdict.add_argument("--stands", action="store_true", help="the reading is right")
    verdict.add_argument("--amended", metavar="VALUE", help="it should be VALUE, in its own unit")
    verdict.add_argument("--void", action="store_true", help="it is to be left out")
    verdict.add_argument(
        "--import",
        type=Path,
        metavar="FILE",
        dest="file",
        help="rulings that a review page exported",
    )
    parser.add_argument("--reason", help="why, in one line")
    parser.add_argument("--who", help="who rules")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Journal the rulings, all or none, and tell them."""
    folder = open_survey(args.survey)
    proposed = _from_file(args) if args.file else [_from_options(args)]
    at = datetime.now().astimezone().isoformat(timespec="milliseconds")
    for ruling in rule(folder, proposed, at):
        print(f"ruled on entry {ruling.reading}: {ruling.told}")
    return 0


def _from_file(args: argparse.Namespace) -> list[Proposed]:
    if args.entry is not None or args.reason or args.who:
        raise OperatorError("--import FILE goes without --entry, --reason and --who")
    return read_rulings(args.file)


def _from_options(args: argparse.Namespace) -> Proposed:
    if args.entry is None or args.reason is None or args.who is None:
        raise OperatorError("a ruling needs --entry, --reason and --who")
    verdict = "amended" if args.amended is not None else "stands" if args.stands else "void"
    return Proposed(args.entry, verdict, args.amended, args.reason, args.who)
