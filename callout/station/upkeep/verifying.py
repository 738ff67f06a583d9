"""The whole verdict on a survey, in one pass over its journal: chain, seals, sounds and tables."""

from __future__ import annotations

from collections.abc import Sequence

from callout.crews.recorder import OFFICE
from callout.journal.folder import SurveyFolder
from callout.proof.source import TABLES, open_source
from callout.proof.verify import Report, Verifier
from callout.proof.witness import Witness
from callout.station.upkeep.rebuild import Session, TableCheck


def verify_and_follow(folder: SurveyFolder) -> tuple[Report, Session]:
    """The verdict, and the session as the journal leaves it; that counts where nothing is wrong."""
    return _verified(folder, None, (), hashed=True)


def verify_survey(
    folder: SurveyFolder,
    signer: str | None = None,
    witnesses: Sequence[Witness] = (),
    *,
    hashed: bool = True,
) -> Report:
    """Check everything that can be checked here. Memory grows with the trees, not with entries.

    Raises StorageError where the journal cannot be opened, or is of a newer version.
    """
    return _verified(folder, signer, witnesses, hashed=hashed)[0]


def _verified(
    folder: SurveyFolder, signer: str | None, witnesses: Sequence[Witness], *, hashed: bool
) -> tuple[Report, Session]:
    with open_source(folder.database) as source:
        verifier = Verifier(folder, signer, witnesses, hashed=hashed)
        # Rows of damaged tables may hold anything, and are not looked into.
        rows = {} if source.damaged else {name: source.rows(name) for name in TABLES}
        tables, office = TableCheck(rows), False
        for entry in source.entries():
            verifier.take(entry)
            office = office or entry.kind == OFFICE
            if not office:
                tables.take(entry)
        faults = [] if office else tables.finish()
        report = verifier.report(source.faults)
    report.faults = sorted([*report.faults, *faults], key=lambda fault: fault.entry)
    return report, tables.session
