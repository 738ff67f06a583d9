"""``callout rule``: a reviewer's ruling on one reading, or a file of them from the review page."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.crews.site import Site, is_site, recorder_called
from callout.crews.site_rulings import add_rulings
from callout.journal.codec import stamp
from callout.journal.folder import open_survey
from callout.office.asked import Proposed
from callout.office.ruling import Bench, checked_ruling, read_rulings, rule


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("rule")
    parser.add_argument("survey", type=Path, metavar="SURVEY", help="a survey or a united site")
    parser.add_argument(
        "--entry", help="the journal entry that saved the reading; at a united site RECORDER:ENTRY"
    )
    verdict = parser.add_mutually_exclusive_group(required=True)
    verdict.add_argument("--stands", action="store_true", help="the reading is right")
    verdict.add_argument("--amended", metavar="VALUE", help="it should be VALUE, in its own unit")
    verdict.add_argument("--void", action="store_true", help="it is to be left out")
    verdict.add_argument("--withdrawn", action="store_true", help="the ruling on it is taken back")
    verdict.add_argument(
        "--import",
        type=Path,
        metavar="FILE",
        dest="file",
        help="rulings that a review page exported",
    )
    parser.add_argument(
        "--accept", action="store_true", help="with a value that a check warns of: take it"
    )
    parser.add_argument("--reason", help="why, in one line")
    parser.add_argument("--who", help="who rules")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Journal the rulings, all or none, and print them."""
    at = stamp(datetime.now().astimezone())
    if is_site(args.survey):
        return _rule_at_site(args, at)
    folder = open_survey(args.survey)
    proposed = _from_file(args) if args.file else [_from_options(args, args.entry)]
    if any(item.recorder for item in proposed):
        raise OperatorError(f"{args.file}: its rulings are of a united site: name the site")
    for ruling in rule(folder, proposed, at, args.accept):
        print(f"ruled on entry {ruling.reading}: {ruling.told}")
    return 0


def _from_file(args: argparse.Namespace) -> list[Proposed]:
    if args.entry is not None or args.reason or args.who:
        raise OperatorError("--import FILE goes without --entry, --reason and --who")
    return read_rulings(args.file)


def _rule_at_site(args: argparse.Namespace, at: str) -> int:
    """Rulings of the office, all or none; the recorders' own journals stay as they are."""
    site = Site(args.survey)
    proposed = _from_file(args) if args.file else [_named(args)]
    checked = []
    for item in proposed:
        if args.file and not item.recorder:
            raise OperatorError(f"{args.file}: its rulings name no recorder: it is of one survey")
        held = recorder_called(site, item.recorder)
        checked.append((held.recorder, checked_ruling(Bench(held.folder), item, args.accept)))
    add_rulings(site, [(recorder.id, ruling) for recorder, ruling in checked], at)
    for recorder, ruling in checked:
        print(f"ruled on entry {recorder.short}:{ruling.reading}: {ruling.told}")
    return 0


def _named(args: argparse.Namespace) -> Proposed:
    """The ruling of the options, with its recorder."""
    recorder, colon, entry = (args.entry or "").partition(":")
    if not colon:
        raise OperatorError(
            f"--entry {args.entry}: at a united site write it as RECORDER:ENTRY, as 'callout "
            "readings' names them"
        )
    return replace(_from_options(args, entry), recorder=recorder)


def _from_options(args: argparse.Namespace, entry: str | None) -> Proposed:
    if entry is None or args.reason is None or args.who is None:
        raise OperatorError("a ruling needs --entry, --reason and --who")
    if not (entry.isascii() and entry.isdecimal()) or len(entry) > 15:
        raise OperatorError(f"--entry {entry!r} is no number of an entry")
    said = ("stands", "void", "withdrawn")
    verdict = next((word for word in said if getattr(args, word)), "amended")
    return Proposed(int(entry), verdict, args.amended, args.reason, args.who)
