"""``callout verify``: proof that nothing in a survey was altered, or where it first was."""

from __future__ import annotations

import argparse
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.crews.recorder import recorder_of
from callout.crews.site import Site, is_site, site_folders
from callout.journal.audio import is_digest
from callout.journal.codec import stamp
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.seals import Seal, seal
from callout.journal.signing import KIND as SIGNER
from callout.journal.signing import sign_for
from callout.journal.verify import Fault, take_snapshot, verify_journal
from callout.journal.writer import JournalWriter
from callout.station.rebuild import table_faults

BROKEN = 1
MOST_LINES = 20


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "verify",
        description="Exit code 0: intact. 1: broken, one line for each fault. 2: no survey there.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument(
        "--seal", action="store_true",
        help="where all is intact, seal it: an entry, and a line in SURVEY/seals.txt",
    )  # fmt: skip
    parser.add_argument(
        "--seals", type=Path, metavar="FILE",
        help="hold the journal against a copy of seals.txt kept elsewhere",
    )  # fmt: skip
    parser.add_argument(
        "--signer", metavar="KEY",
        help="the public key, or a file that holds it, that must have signed the seals",
    )  # fmt: skip
    parser.add_argument(
        "--strict", action="store_true", help="a clock that ran backwards counts as broken too"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check journal, seals, sounds and tables; seal them if asked to and intact."""
    if is_site(args.survey):
        return _verify_site(args)
    folder = open_survey(args.survey)
    if args.seals is not None and not args.seals.is_file():
        raise OperatorError(f"there is no file {args.seals}: give a copy of a seals.txt")
    snapshot = take_snapshot(folder.database)
    report = verify_journal(folder, snapshot, args.seals, _public_key(args.signer))
    faults = report.faults + table_faults(snapshot)
    if args.strict:
        faults += report.notes
    faults.sort(key=lambda fault: fault.entry)
    if faults:
        _print_faults(faults)
    for note in [] if args.strict else report.notes:
        print(f"note: {note}")
    if faults:
        return BROKEN
    removed = f" ({report.removed} removed by order)" if report.removed else ""
    signed = f" ({report.signed} signed)" if report.signed else ""
    print(
        f"intact: {report.entries} entries, {report.sounds} sounds{removed}, "
        f"{report.seals} seals{signed}, tables as the journal gives them"
    )
    if args.seal:
        made, why_not = _seal(folder)
        print(f"sealed: {made.line}")
        if why_not:
            print(f"callout: {why_not}", file=sys.stderr)
    return 0


def _public_key(given: str | None) -> str | None:
    """The key as 64 hexadecimal digits, given so or as a file that holds them."""
    if given is None:
        return None
    path = Path(given)
    try:
        text = path.read_text(encoding="ascii") if path.is_file() else given
    except UnicodeDecodeError:
        text = ""
    key = text.strip().lower()
    if not is_digest(key):
        raise OperatorError(f"--signer {given}: give the 64 digits that 'callout key' showed")
    return key


def _verify_site(args: argparse.Namespace) -> int:
    """Check each recorder's copy in turn, and that it is the recorder it is named after."""
    if args.seal or args.seals is not None or args.signer is not None:
        raise OperatorError(
            f"{args.survey} is a united site: seals are made at the recorder, and held against one "
            f"recorder's copy, as callout verify {args.survey}/recorders/… --seals FILE"
        )
    code = 0
    for folder in site_folders(Site(args.survey)):
        snapshot = take_snapshot(folder.database)
        report = verify_journal(folder, snapshot)
        recorder = None if report.faults else recorder_of(snapshot.entries)
        office = recorder is not None and recorder.office
        faults = report.faults + ([] if office else table_faults(snapshot))
        if recorder is not None and folder.path.name not in (recorder.id, "office"):
            faults.append(Fault(0, f"it is recorder {recorder.id}, not {folder.path.name}"))
        faults += report.notes if args.strict else []
        print(f"{folder.path.name}: ", end="")
        if faults:
            code = BROKEN
            _print_faults(sorted(faults, key=lambda fault: fault.entry))
        else:
            told = recorder.told if recorder else ""
            print(f"intact: {told}, {report.entries} entries, {report.sounds} sounds")
        for note in [] if args.strict else report.notes:
            print(f"note: {note}")
    return code


def _print_faults(faults: list[Fault]) -> None:
    first = next((fault.entry for fault in faults if fault.entry), 0)
    print(f"BROKEN, first at entry {first}" if first else "BROKEN")
    for fault in faults[:MOST_LINES]:
        print(str(fault).encode("utf-8", "replace").decode())
    if len(faults) > MOST_LINES:
        print(f"and {len(faults) - MOST_LINES} more")


def _seal(folder: SurveyFolder) -> tuple[Seal, str]:
    with folder.reading() as reader:
        sign, why_not = sign_for(reader.of_kind(SIGNER))
    writer = JournalWriter(folder.database)
    try:
        at = stamp(datetime.now().astimezone())
        return seal(folder, writer, at, sign), why_not
    finally:
        writer.close()
