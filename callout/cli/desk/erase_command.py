"""``callout erase``: removes sound by an order that the journal keeps; the readings stay."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from callout.core.counted import counted
from callout.core.errors import CalloutError, OperatorError
from callout.core.people import plain_name, refuse_unknown_person
from callout.crews.recorder import people_of
from callout.journal.codec import stamp
from callout.journal.folder import SurveyFolder, open_survey
from callout.journal.writer import JournalWriter
from callout.office.erasing import Which, erase, to_erase
from callout.office.ruling import one_line
from callout.proof.verify import take_snapshot
from callout.sound.coarser import pcm_within
from callout.station.upkeep.sealing import seal_act
from callout.station.upkeep.tidy import tidy
from callout.tuning.tuning_kept import records, undo


def add_parser(subparsers: Any) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "erase",
        description="Says what would go. With --yes the order is journalled and the files go: "
        "they cannot be had back. Copies, backups and review pages are not found.",
    )
    parser.add_argument("survey", type=Path, metavar="SURVEY")
    parser.add_argument("--person", metavar="NAME", help="what was kept while this person worked")
    parser.add_argument("--from", dest="begin", metavar="TIME", help="from 2026-06-02T09:15 on")
    parser.add_argument("--until", metavar="TIME", help="before 2026-06-02T09:20, or a day's start")
    parser.add_argument(
        "--older-than", type=int, metavar="DAYS", help="what is older than so many days"
    )
    parser.add_argument(
        "--session", action="store_true", help="only sound of whole sessions, no callouts"
    )
    parser.add_argument(
        "--unnamed", action="store_true", help="sounds that a crash left and no entry names"
    )
    parser.add_argument("--reason", help="why, in a few words")
    parser.add_argument("--who", metavar="NAME", help="who orders it")
    parser.add_argument("--yes", action="store_true", help="do it; without, only say what would go")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Say what would be removed, or order and remove it."""
    folder, now = open_survey(args.survey), datetime.now().astimezone()
    which = _which(args, now)
    if which is None:
        return _only_finish(folder)
    tuned, ordered = _tuned(folder, which), False
    if which.person is not None:
        known = people_of(take_snapshot(folder.database).entries)
        refuse_unknown_person(which.person, [*known, *tuned])
    if not args.yes:
        found = _found(folder, which, tuned)
        also = f", and what 'callout tune' learnt of {', '.join(tuned)}" if tuned else ""
        count = counted(len(found), "sound")
        print(f"{count} would be removed{also}; nothing was: add --yes, --reason and --who")
        return 0
    reason, who = one_line("reason", args.reason or ""), one_line("name", args.who or "")
    writer = JournalWriter(folder.database)
    at = stamp(now)
    try:
        _tidied(folder, writer, at)  # leftovers of a crash may be that person's too
        if not tuned or to_erase(folder, take_snapshot(folder.database).entries, which):
            order, gone = erase(folder, writer, which, reason, who, at)
            print(f"entry {order}: {counted(gone, 'sound')} removed; every reading stays")
            ordered = True
    finally:
        writer.close()
    if ordered:
        _seal(folder, at)
    for name in tuned:
        undo(folder, name)
        print(f"what 'callout tune' learnt of {name} is gone as well")
    return 0


def _found(folder: SurveyFolder, which: Which, tuned: Sequence[str]) -> list[str]:
    """The sounds that would go. Raises OperatorError where a person has none any more."""
    wanted = to_erase(folder, take_snapshot(folder.database).entries, which)
    if which.person is not None and not wanted and not tuned:
        raise OperatorError("there is no such sound, or all of it was removed before")
    return wanted


def _seal(folder: SurveyFolder, at: str) -> None:
    """Seal the order: without a seal, anybody could have written it."""
    try:
        made, why_not = seal_act(folder, at)
        print(f"sealed: {made.line}")
    except CalloutError as error:
        why_not = f"not sealed: {error}"
    if why_not:
        print(f"callout: {why_not}", file=sys.stderr)


def _tuned(folder: SurveyFolder, which: Which) -> list[str]:
    """Whose voice a head follows, where the order is for all of a person."""
    if which.person is None or which != Which(person=which.person):
        return []
    asked = plain_name(which.person)
    return [record.who for record in records(folder) if plain_name(record.who) == asked]


def _only_finish(folder: SurveyFolder) -> int:
    """Without a choice: delete what earlier orders left behind."""
    writer = JournalWriter(folder.database)
    try:
        told = _tidied(folder, writer, datetime.now().astimezone().isoformat())
    finally:
        writer.close()
    print("\n".join(told) or "say which sound: --person, --from, --until, --older-than, --unnamed")
    return 0


def _tidied(folder: SurveyFolder, writer: JournalWriter, at: str) -> list[str]:
    return tidy(folder, lambda kind, body: writer.append(at, kind, body), pcm_within)


def _which(args: argparse.Namespace, now: datetime) -> Which | None:
    if args.older_than is not None and args.until is not None:
        raise OperatorError("give --older-than or --until, not both")
    if args.older_than is not None and not 0 <= args.older_than <= 36_500:
        raise OperatorError(f"--older-than {args.older_than}: give days, from 0 to 36500")
    until = _moment("--until", args.until)
    if args.older_than is not None:
        until = now - timedelta(days=args.older_than)
    which = Which(args.person, _moment("--from", args.begin), until, args.session, args.unnamed)
    if which.unnamed and which != Which(unnamed=True):
        raise OperatorError("--unnamed goes alone: of those sounds nothing else is known")
    return None if which == Which() else which


def _moment(option: str, text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        given = datetime.fromisoformat(text)
    except ValueError:
        raise OperatorError(f"{option} {text!r}: write it as 2026-06-02T09:15") from None
    return given.astimezone()
