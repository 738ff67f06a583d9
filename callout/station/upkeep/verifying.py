"""The complete check of a survey, in one pass over its journal: chain, seals, sounds and tables.

The chain, the seals and the sounds are checked against every entry each time. The tables were
checked before, up to the newest seal that this machine knows: there only the digest of their rows
is compared. If anything differs, all is replayed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from callout.core.errors import CalloutError
from callout.crews.recorder import OFFICE
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.proof.source import TABLES, Source, open_source
from callout.proof.verify import Report, Verifier
from callout.proof.witness import Witness
from callout.station.upkeep.kept_state import AtEntry, keep, known_rows
from callout.station.upkeep.table_check import TableCheck


def verify_and_follow(folder: SurveyFolder) -> tuple[Report, AtEntry | None]:
    """The verdict, and the session at the journal's end; None if something is wrong."""
    done = _verified(folder, None, (), hashed=True, replay=False)
    return done.report, None if done.report.faults else done.end


def verify_survey(
    folder: SurveyFolder,
    signer: str | None = None,
    witnesses: Sequence[Witness] = (),
    *,
    hashed: bool = True,
    replay: bool = False,
) -> Report:
    """Check everything that can be checked here.

    Memory grows with the trees, not with entries. ``replay`` uses no kept state. Raises
    StorageError if the journal cannot be opened, or is of a newer version.
    """
    return _verified(folder, signer, witnesses, hashed=hashed, replay=replay).report


@dataclass(frozen=True)
class _Done:
    report: Report
    holds: bool
    at_seal: AtEntry | None
    end: AtEntry | None


def _verified(
    folder: SurveyFolder,
    signer: str | None,
    witnesses: Sequence[Witness],
    *,
    hashed: bool,
    replay: bool,
) -> _Done:
    begun = AtEntry() if replay else _known(folder)
    known = begun.entry
    done = _passed(folder, Verifier(folder, signer, witnesses, hashed=hashed), begun)
    if known and not done.holds:
        begun = AtEntry()
        done = _passed(folder, Verifier(folder, signer, witnesses, hashed=hashed), begun)
    if done.holds and done.at_seal is not None:
        keep(done.at_seal)
    return done


def _known(folder: SurveyFolder) -> AtEntry:
    # The pass that follows checks the file itself and reports on it.
    wrong = (CalloutError, sqlite3.Error, TypeError, ValueError)
    with suppress(*wrong), folder.reading() as reader:
        return known_rows(reader)
    return AtEntry()


def _passed(folder: SurveyFolder, verifier: Verifier, begun: AtEntry) -> _Done:
    with open_source(folder.database) as source:
        tables, last = _read(source, verifier, begun)
        faults = tables.finish() if tables is not None else []
        holds = not (verifier.broken or source.faults or faults)
        report = verifier.report(source.faults)
    report.faults = sorted([*report.faults, *faults], key=lambda fault: fault.entry)
    if tables is None or last is None:
        return _Done(report, holds, None, None)
    return _Done(report, holds and tables.trusted, tables.at_seal, tables.state(last))


def _read(
    source: Source, verifier: Verifier, begun: AtEntry
) -> tuple[TableCheck | None, Entry | None]:
    """Read every entry, once. Tables are not checked for an office's rulings: it has no session."""
    # Rows of damaged tables may hold anything, and are not read.
    rows = {} if source.damaged else {name: source.rows(name) for name in TABLES}
    tables, office, last = TableCheck(rows, begun), False, None
    for entry in source.entries():
        verifier.take(entry)
        office = office or entry.kind == OFFICE
        if not office:
            tables.take(entry)
        last = entry
    return (None if office else tables), last
