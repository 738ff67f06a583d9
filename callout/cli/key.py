"""``callout key``: a key that signs a survey's seals, made where there is none, and named in it."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.journal.codec import stamp
from callout.journal.folder import open_survey
from callout.journal.signing import (
    KIND,
    key_path,
    make_key,
    public_of,
    read_key,
    signer_body,
    signers_in,
)
from callout.journal.writer import JournalWriter
from callout.station.ruling import one_line


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("key")
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--who", required=True, help="whose key it is")
    parser.add_argument(
        "--key", type=Path, metavar="FILE",
        help="the private key, outside the survey (default: CALLOUT_KEY, else in the home folder)",
    )  # fmt: skip
    parser.set_defaults(run=run)


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
    with folder.reading() as reader:
        known = public in signers_in(reader.of_kind(KIND))
    if not known:
        writer = JournalWriter(folder.database)
        try:
            at = stamp(datetime.now().astimezone())
            writer.append(at, KIND, signer_body(public, who))
        finally:
            writer.close()
    print(f"{'made' if made else 'found'} the private key {path}: keep it to yourself")
    print(f"{folder.path} {'knew' if known else 'now knows'} its public half; seals are signed")
    if path != key_path():
        print(f"signing looks for the key at {key_path()}: set CALLOUT_KEY={path}")
    print(f"keep this elsewhere, for 'callout verify --signer':\n{public}")
    return 0
