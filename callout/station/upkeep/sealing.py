"""Seals what was checked, and nothing else; signed if the survey has a key and it is at hand.

Before a seal is made the chain, the tables, the sounds and all earlier seals must be intact, and
the newest seal that the key made of this survey must be in the journal. Otherwise nothing is
sealed, and the person at work is told why.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from callout.core.errors import CalloutError, OperatorError, StorageError
from callout.journal.codec import KINDS
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.journal.session_sound import KIND as SESSION_SOUND
from callout.journal.writer import JournalWriter
from callout.proof.made_seals import MadeSeals, survey_of
from callout.proof.seals import KIND as SEALED
from callout.proof.seals import Seal, Sign, add_lost_lines, seal, seal_of
from callout.proof.signatures import KIND as SIGNER
from callout.proof.signatures import key_path, public_of, read_key, sign_for
from callout.station.station import Station
from callout.station.upkeep.kept_state import WRONG, AtEntry, keep
from callout.station.upkeep.verifying import verify_and_follow

MakeSeal = Callable[[Sign | None], Seal]


class NotSealedError(OperatorError):
    """The survey was not sealed, since a check failed."""


def seal_session(folder: SurveyFolder, station: Station) -> tuple[str, str]:
    """Seal what was done since the last seal: the seal's line, and what is wrong, if anything.

    Never raises for disk or key: leaving must always work.
    """
    try:
        with folder.reading() as reader:
            if not _worked(reader):
                return "", ""
        made, why_not = seal_checked(folder, station.seal)
    except StorageError as error:
        # What the disk refused earlier is reported on leaving, and once is enough.
        return "", "" if station.refusals else f"not sealed: {error}"
    except CalloutError as error:
        return "", f"not sealed: {error}"
    return made.line, why_not


def seal_act(folder: SurveyFolder, at: str) -> tuple[Seal, str]:
    """Seal after a command (a ruling, an order); returns the seal and what is wrong.

    Raises CalloutError if nothing was sealed.
    """

    def make(sign: Sign | None) -> Seal:
        writer = JournalWriter(folder.database)
        try:
            return seal(folder, writer, at, sign)
        finally:
            writer.close()

    return seal_checked(folder, make)


def seal_checked(folder: SurveyFolder, make: MakeSeal) -> tuple[Seal, str]:
    """Check everything, then let ``make`` seal it: the seal, and why it is not signed, if so.

    Raises NotSealedError naming the first fault; then nothing was written.
    """
    with folder.reading() as reader:
        sign, why_not = sign_for(reader.of_kind(SIGNER))
        survey = survey_of(reader)
        memory = MadeSeals(key_path(), public_of(read_key(key_path()))) if sign else None
        known = memory.of(survey) if memory is not None else None
        if memory is not None:
            _check_known(folder, reader, known)
    add_lost_lines(folder, [known] if known is not None else [])
    report, verified = verify_and_follow(folder)
    if report.faults:
        raise NotSealedError(
            f"{report.faults[0]}; see 'callout verify {folder.path}', and hold it against a seal "
            "kept elsewhere"
        )
    signed = None if sign is None or memory is None else _remembering(sign, memory, survey)
    made = make(signed)
    if verified is not None:
        _keep_state(folder, verified, made)
    return made, why_not


def _keep_state(folder: SurveyFolder, verified: AtEntry, made: Seal) -> None:
    """Keep the verified state, with what the sealing itself added."""
    at = verified
    with suppress(*WRONG), folder.reading() as reader:
        for entry in reader.entries(after=verified.entry):
            at = at.after(entry)
    if at.entry == made.entry and at.hash == made.hash and at.entry > verified.entry:
        keep(at)


def _check_known(folder: SurveyFolder, reader: JournalReader, known: Seal | None) -> None:
    if known is None:
        raise NotSealedError(
            f"the key {key_path()} has never sealed this journal: it may be another's, or written "
            f"anew. Hold it against a seal kept elsewhere, then 'callout key {folder.path} --who …'"
        )
    entry = reader.entry(known.entry)
    if entry is None or entry.hash != known.hash:
        raise NotSealedError(
            f"the journal lacks entry {known.entry} as the key {key_path()} knows it from "
            f"{known.at}: it was put back from an older copy, or altered. Put the newest copy "
            f"there, or go on with 'callout key {folder.path} --who … --lost REASON'"
        )


def _remembering(sign: Sign, memory: MadeSeals, survey: tuple[str, str]) -> Sign:
    """Signs, and remembers the seal with its signature before its line is written."""

    def signed(data: bytes) -> str:
        signature = sign(data)
        found = seal_of(f"{data.decode().removeprefix('callout seal ')} {signature}")
        assert found is not None
        memory.remember(survey, found)
        return signature

    return signed


def _worked(reader: JournalReader) -> bool:
    newest = {kind: reader.latest(kind) for kind in (SEALED, SESSION_SOUND, *KINDS)}
    sealed = newest.pop(SEALED)
    since = sealed.seq if sealed else 0
    return any(entry is not None and entry.seq > since for entry in newest.values())
