"""``callout key``: a key that signs a survey's seals, made if there is none, and named in it."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.journal.codec import stamp
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.reader import JournalReader
from callout.journal.writer import JournalWriter
from callout.office.ruling import one_line
from callout.proof.made_seals import MadeSeals, survey_of
from callout.proof.seals import Seal
from callout.proof.signatures import (
    KIND,
    key_path,
    make_key,
    public_of,
    read_key,
    signer_body,
    signers_in,
)
from callout.station.upkeep.verifying import verify_survey


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("key")
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--who", required=True, help="whose key it is")
    parser.add_argument(
        "--key",
        type=Path,
        metavar="FILE",
        help="the private key, outside the survey (default: CALLOUT_KEY, else in the home folder)",
    )
    parser.add_argument(
        "--lost",
        metavar="REASON",
        help="the journal lacks the newest seal of this key, and this is why: go on all the same",
    )
    parser.set_defaults(run=run)


def _missing(folder: SurveyFolder, seal: Seal | None) -> Seal | None:
    """The seal that this key made last, if the journal does not hold it."""
    if seal is None:
        return None
    with folder.reading() as reader:
        entry = reader.entry(seal.entry)
    return None if entry is not None and entry.hash == seal.hash else seal


def _refuse_broken(folder: SurveyFolder) -> None:
    faults = verify_survey(folder).faults
    if faults:
        raise OperatorError(
            f"{folder.path} is broken and its key is not named: {faults[0]}; see 'callout verify'"
        )


def _name(folder: SurveyFolder, body: dict[str, Any]) -> None:
    writer = JournalWriter(folder.database)
    try:
        writer.append(stamp(datetime.now().astimezone()), KIND, body)
    finally:
        writer.close()


def _as_of_now(reader: JournalReader) -> Seal:
    """The newest entry, from which on the key knows the survey."""
    entry = reader.entry(reader.last or 0)
    assert entry is not None
    return Seal(entry.seq, entry.hash, entry.at)


def run(args: argparse.Namespace) -> int:
    """Journal the public half; the private one is never in the survey."""
    folder, path = open_survey(args.survey), args.key or key_path()
    who = one_line("name", args.who)
    if path.resolve().is_relative_to(folder.path.resolve()):
        raise OperatorError(f"{path} is inside the survey: keep the private key elsewhere")
    made = not path.exists()
    if made:
        make_key(path)
    public = public_of(read_key(path))
    memory = MadeSeals(path, public)
    lost = None if args.lost is None else one_line("reason", args.lost)
    with folder.reading() as reader:
        known = public in signers_in(reader.of_kind(KIND))
        survey = survey_of(reader)
    missing = _missing(folder, memory.of(survey))
    if missing is not None and lost is None:
        raise OperatorError(
            f"{folder.path} lacks entry {missing.entry} as the key knows it from {missing.at}: it "
            "was put back from an older copy, or altered. Put the newest copy there, or say why "
            "with --lost REASON, which the journal keeps"
        )
    _refuse_broken(folder)
    if not known or missing is not None:
        body = signer_body(public, who)
        if missing is not None:
            body["lost"] = {"seal": missing.line, "reason": lost}
        _name(folder, body)
    with folder.reading() as reader:
        if missing is not None or memory.of(survey) is None:
            memory.remember(survey, _as_of_now(reader))
    print(f"{'made' if made else 'found'} the private key {path}: keep it to yourself")
    print(f"{folder.path} {'knew' if known else 'now knows'} its public half; seals are signed")
    if path != key_path():
        print(f"signing looks for the key at {key_path()}: set CALLOUT_KEY={path}")
    print(f"keep this elsewhere, for 'callout verify --signer':\n{public}")
    return 0
