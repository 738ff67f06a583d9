"""``callout verify``: proof that nothing in a survey was altered, or where it first was."""

from __future__ import annotations

import argparse
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.cli.disputes.stamping import (
    add_stamp_options,
    given_stamps,
    held_against,
    write_request,
)
from callout.core.counted import counted
from callout.core.errors import OperatorError
from callout.crews.recorder import recorder_of
from callout.crews.site import Site, is_site, site_folders
from callout.journal.audio import is_digest
from callout.journal.codec import stamp
from callout.journal.folder import SurveyFolder, open_survey
from callout.proof.seals import KIND as SEALED
from callout.proof.seals import Seal
from callout.proof.verify import Fault, Report
from callout.proof.verify_seals import Proof
from callout.proof.witness import Witness, read_witnesses, told
from callout.station.upkeep.sealing import seal_act
from callout.station.upkeep.verifying import verify_survey

BROKEN = 1
NOT_PROVED = 3
MOST_LINES = 20


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "verify",
        description="Exit code 0: intact. 1: broken, one line for each fault. 2: no survey there. "
        "3: intact, but not proved to its end by the key that was named.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument(
        "--seal",
        action="store_true",
        help="where all is intact, seal it: an entry, and a line in SURVEY/seals.txt",
    )
    parser.add_argument(
        "--told", action="store_true", help="show the newest seal in figures to be told by voice"
    )
    parser.add_argument(
        "--seals",
        type=Path,
        metavar="FILE",
        action="append",
        default=[],
        help="hold the journal against seals kept elsewhere: a copy of seals.txt, or what was told "
        "by voice, a line each; may be given several times",
    )
    parser.add_argument(
        "--signer",
        metavar="KEY",
        help="the public key, or a file that holds it, that must have signed the newest seal",
    )
    parser.add_argument(
        "--strict", action="store_true", help="a clock that ran backwards counts as broken too"
    )
    parser.add_argument(
        "--replay",
        action="store_true",
        help="replay every entry, and rely on nothing that this machine found out before",
    )
    add_stamp_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check journal, seals, sounds and tables; seal them if asked to and intact."""
    if is_site(args.survey):
        return _verify_site(args)
    folder = open_survey(args.survey)
    witnesses, stamps = _witnesses(args.seals), given_stamps(args)
    report = verify_survey(folder, _public_key(args.signer), witnesses, replay=args.replay)
    report.notes += _uncovered(report.proof, args)
    stamped: list[str] = []
    if not report.faults:
        stamped, faults, notes = held_against(folder, stamps, report.proof.last)
        report.faults += faults
        report.notes += notes
    faults = report.faults + (report.notes if args.strict else [])
    faults.sort(key=lambda fault: fault.entry)
    if faults:
        _print_faults(faults)
    for note in [] if args.strict else report.notes:
        print(f"note: {note}")
    if faults:
        return BROKEN
    code = _print_proof(report, args)
    print("".join(f"{line}\n" for line in stamped), end="")
    if args.seal:
        made, why_not = seal_act(folder, stamp(datetime.now().astimezone()))
        print(f"sealed: {made.line}\nto be told: {told(made)}")
        if why_not:
            print(f"callout: {why_not}", file=sys.stderr)
    elif args.told:
        print(f"to be told: {told(_newest(folder))}")
    if args.stamp_request is not None:
        write_request(folder, args.stamp_request)
    return code


def _witnesses(paths: list[Path]) -> list[Witness]:
    for path in paths:
        if not path.is_file():
            raise OperatorError(f"there is no file {path}: give a copy of a seals.txt")
    found = [witness for path in paths for witness in read_witnesses(path)]
    if paths and not found:
        raise OperatorError(
            f"{paths[0]} holds no seal: there is nothing to hold the journal against"
        )
    return found


def _uncovered(proof: Proof, args: argparse.Namespace) -> list[Fault]:
    """Orders to remove sound not covered by a seal: whoever can write the folder can write one."""
    reach = [proof.sealed]
    if args.signer is not None:
        reach = [proof.signed[0] if proof.signed else 0]
    elif args.seals:
        reach = [entry for entry, _ in proof.witnessed]
    covered = max(reach, default=0)
    return [
        Fault(order, "orders sound to be removed, and no seal covers the order")
        for order in proof.orders_after(covered)
    ]


def _print_proof(report: Report, args: argparse.Namespace) -> int:
    removed = f" ({report.removed} removed by order)" if report.removed else ""
    signed = f" ({report.signed} signed)" if report.signed else ""
    print(
        f"intact: {_counts(report)}{removed}, "
        f"{counted(report.seals, 'seal')}{signed}, tables as the journal gives them"
    )
    proof = report.proof
    if args.seals:
        print(f"witnessed: {_reach(max(proof.witnessed, default=None), proof.last)}")
    if args.signer is None:
        return 0
    print(f"signed: {_reach(proof.signed, proof.last)}")
    if proof.signed is not None and proof.signed[0] == proof.last:
        return 0
    print("NOT PROVED to its end: what the key did not sign may have been cut off or put there")
    return NOT_PROVED


def _counts(report: Report) -> str:
    return f"{counted(report.entries, 'entry', 'entries')}, {counted(report.sounds, 'sound')}"


def _reach(up_to: tuple[int, str] | None, last: int) -> str:
    if up_to is None:
        return f"nothing; {counted(last, 'entry', 'entries')} by nobody"
    after = last - up_to[0]
    rest = (
        f"{counted(after, 'entry', 'entries')} after it by nobody"
        if after
        else "nothing stands after it"
    )
    return f"up to entry {up_to[0]} of {up_to[1][:16].replace('T', ' ')}; {rest}"


def _newest(folder: SurveyFolder) -> Seal:
    with folder.reading() as reader:
        newest = reader.latest(SEALED)
    if newest is None:
        raise OperatorError(
            f"{folder.path} was never sealed: 'callout verify {folder.path} --seal'"
        )
    return Seal(newest.seq, newest.hash, newest.at)


def _public_key(given: str | None) -> str | None:
    """The key as 64 hexadecimal digits, given directly or in a file."""
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
    """Check each recorder's copy in turn, and that its id matches its folder's name."""
    stamps = args.stamp or args.stamp_request is not None
    if args.seal or args.told or args.seals or stamps or args.signer is not None:
        raise OperatorError(
            f"{args.survey} is a united site: seals are made at the recorder, and held against one "
            f"recorder's copy, as callout verify {args.survey}/recorders/… --seals FILE"
        )
    code = 0
    for folder in site_folders(Site(args.survey)):
        report = verify_survey(folder, replay=args.replay)
        faults, recorder = list(report.faults), None
        if not faults:
            with folder.reading() as reader:
                recorder = recorder_of(reader.entries())
        if recorder is not None and folder.path.name not in (recorder.id, "office"):
            faults.append(Fault(0, f"it is recorder {recorder.id}, not {folder.path.name}"))
        faults += report.notes if args.strict else []
        print(f"{folder.path.name}: ", end="")
        if faults:
            code = BROKEN
            _print_faults(sorted(faults, key=lambda fault: fault.entry))
        else:
            told = recorder.told if recorder else ""
            print(f"intact: {told}, {_counts(report)}")
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
