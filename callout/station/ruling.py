"""Takes a reviewer's rulings: checked whole, then appended to the journal, one entry each.

Nothing that was saved is changed. How rulings are kept and read back is the journal's matter.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.model import Reading
from callout.core.units import parse_decimal
from callout.journal.files import storage_errors
from callout.journal.folder import SurveyFolder
from callout.journal.rulings import KIND, VERDICTS, Ruling, ruling_body
from callout.journal.writer import JournalWriter

LONGEST_TEXT = 500


@dataclass(frozen=True)
class Proposed:
    """A ruling as somebody wrote it; nothing of it is checked yet."""

    entry: int
    verdict: str
    value: str | None
    reason: str
    who: str


def rule(folder: SurveyFolder, proposed: Sequence[Proposed], at: str) -> list[Ruling]:
    """Journal these rulings, all or none. Raises OperatorError naming what cannot be taken."""
    with folder.reading() as reader:
        readings = {item.entry: item for item in reader.readings()}
    checked = [checked_ruling(readings, item) for item in proposed]
    writer = JournalWriter(folder.database)
    try:
        writer.append_all(at, [(KIND, ruling_body(ruling)) for ruling in checked])
    finally:
        writer.close()
    return checked


def checked_ruling(readings: Mapping[int, Reading], given: Proposed) -> Ruling:
    """The ruling that was proposed. Raises OperatorError where it cannot be taken."""
    reading = readings.get(given.entry)
    if reading is None or reading.void:
        raise OperatorError(
            f"entry {given.entry} saved no reading: 'callout replay' names the entry that did"
        )
    if given.verdict not in VERDICTS:
        raise OperatorError(f"verdict {given.verdict!r}: use {', '.join(VERDICTS)}")
    if (given.value is not None) != (given.verdict == "amended"):
        raise OperatorError(f"entry {given.entry}: a value goes with amended, and only with it")
    value = None if given.value is None else _size(given.value)
    return Ruling(
        reading=reading.entry,
        verdict=given.verdict,
        value=value,
        unit=reading.unit.value,
        reason=one_line("reason", given.reason),
        who=one_line("name", given.who),
    )


def _size(text: str) -> Decimal:
    value = parse_decimal(text)
    if value <= 0:
        raise OperatorError(f"value {text!r} must be above zero")
    return value


def one_line(what: str, given: str) -> str:
    """A reason or name as given, trimmed. Raises OperatorError for none, or more than a line."""
    plain = given.strip()
    if not plain:
        raise OperatorError(f"a {what} is needed, and none was given")
    if len(plain) > LONGEST_TEXT or not plain.isprintable():
        raise OperatorError(f"{what} {plain[:40]!r}…: one line of up to {LONGEST_TEXT} letters")
    return plain


def read_rulings(path: Path) -> list[Proposed]:
    """The rulings of a file that the review page exported. Raises OperatorError for others."""
    with storage_errors(f"cannot read {path}"):
        data = path.read_bytes()
    try:
        given = json.loads(data)
        found = [_proposed(item) for item in given["rulings"]]
    except (KeyError, TypeError, ValueError) as error:
        raise OperatorError(f"{path} holds no rulings as the review page exports them") from error
    if not found:
        raise OperatorError(f"{path} holds no ruling: there is nothing to take")
    return found


def _proposed(item: Mapping[str, Any]) -> Proposed:
    entry, value = item["entry"], item.get("value")
    texts = [item["verdict"], item["reason"], item["who"], "" if value is None else value]
    if type(entry) is not int or not all(isinstance(text, str) for text in texts):
        raise TypeError("a ruling's entry is a number, all else is text")
    return Proposed(entry, item["verdict"], value, item["reason"], item["who"])
