"""What ``callout verify`` asks of a time-stamping authority, and what its answers prove."""

from __future__ import annotations

import argparse
from datetime import datetime, timedelta
from pathlib import Path

from callout.core.counted import counted
from callout.core.errors import OperatorError, StorageError
from callout.journal.folder import SurveyFolder
from callout.proof.findings import Fault
from callout.proof.seals import KIND as SEALED
from callout.proof.seals import seals_in
from callout.proof.stamps import Stamp, fitting, read_stamps, request

_AHEAD = timedelta(minutes=5)


def add_stamp_options(parser: argparse.ArgumentParser) -> None:
    """The options for time stamps."""
    parser.add_argument(
        "--stamp-request",
        type=Path,
        metavar="FILE",
        help="write a request (RFC 3161) for a time stamp on the newest seal, to be sent to a "
        "time-stamping service",
    )
    parser.add_argument(
        "--stamp",
        type=Path,
        metavar="FILE",
        action="append",
        default=[],
        help="hold the journal against a service's answer; may be given several times",
    )
    parser.add_argument(
        "--stamp-root",
        type=Path,
        metavar="FILE",
        action="append",
        default=[],
        help="the certificates (PEM) of the services that are trusted",
    )


def given_stamps(args: argparse.Namespace) -> list[Stamp]:
    """The stamps of the answers that were given. Raises OperatorError for what is none."""
    return read_stamps(args.stamp, args.stamp_root)


def write_request(folder: SurveyFolder, path: Path) -> None:
    """Put the request for the newest seal at ``path``; never over an older file."""
    with folder.reading() as reader:
        sealed = seals_in(reader.of_kind(SEALED))
    if not sealed:
        raise OperatorError(
            f"{folder.path} was never sealed: 'callout verify {folder.path} --seal'"
        )
    data = request(sealed[-1])
    try:
        with path.open("xb") as file:
            file.write(data)
    except FileExistsError:
        raise OperatorError(f"{path} exists already: choose another name") from None
    except OSError as error:
        raise StorageError(f"cannot write {path}: {error.strerror or error}") from None
    print(
        f"to be stamped: entry {sealed[-1].entry}, by the request in {path}; send it as "
        "application/timestamp-query, and keep the answer outside the survey"
    )


def held_against(
    folder: SurveyFolder, stamps: list[Stamp], last: int
) -> tuple[list[str], list[Fault], list[Fault]]:
    """What the stamps prove, in lines; and what is broken, and worth a note."""
    lines: list[str] = []
    faults: list[Fault] = []
    notes: list[Fault] = []
    if not stamps:
        return lines, faults, notes
    with folder.reading() as reader:
        sealed = seals_in(reader.of_kind(SEALED))
    for stamp in stamps:
        seal, by = fitting(stamp, sealed), f"{stamp.at:%Y-%m-%d %H:%M:%S} UTC"
        if seal is None:
            told = f"no seal here is what was stamped at {by}: {stamp.where}"
            faults.append(Fault(0, f"{told}; it was cut off or altered, or is another survey's"))
            continue
        after = last - seal.entry
        rest = (
            f"{counted(after, 'entry', 'entries')} after it by nobody"
            if after
            else "nothing stands after it"
        )
        lines.append(f"stamped: entry {seal.entry} was there by {by}; {rest}")
        if datetime.fromisoformat(seal.at) > stamp.at + _AHEAD:
            told = f"sealed at {seal.at} by its own clock, and stamped before that, at {by}"
            notes.append(Fault(seal.entry, told))
    return lines, faults, notes
