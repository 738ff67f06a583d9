"""Takes a reviewer's rulings: checked whole, then appended to the journal, one entry each.

Nothing that was saved is changed. The journal stores rulings and reads them back.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Any

from callout.core.errors import OperatorError
from callout.core.model import PlotSettings, Reading, Warned
from callout.core.rounding import to_graduation
from callout.core.units import parse_decimal
from callout.journal.folder import SurveyFolder
from callout.journal.rulings import KIND, VERDICTS, Ruling, ruling_body
from callout.journal.writer import JournalWriter
from callout.office.asked import Proposed
from callout.session.draft import warnings_before
from callout.session.records import key_of
from callout.session.state import Memory, Survey
from callout.station.upkeep.recall import remember
from callout.survey.files import storage_errors
from callout.wording.language_files import english

LONGEST_TEXT = 500
# The tag is the saved reading's own, and was asked about then.
_OF_TAGS = ("unknown tag", "tag in use", "old tag")


class Bench:
    """The content of a journal against which rulings are checked."""

    def __init__(self, folder: SurveyFolder) -> None:
        self._folder = folder

    def reading(self, entry: int) -> Reading | None:
        """The reading that ``entry`` saved; None for an undo, and for an entry that saved none."""
        with self._folder.reading() as reader:
            found = reader.reading(entry)
        return None if found is None or found.void else found

    @cached_property
    def _known(self) -> tuple[Survey, Memory]:
        """How the survey stands: costs a start, and is asked for where a size is to be checked."""
        with self._folder.reading() as reader:
            return remember(reader)

    def warned(self, reading: Reading, value: Decimal) -> tuple[Warned, ...]:
        """The warnings that ``value`` would have at the tree, in place of the reading's own.

        A reviewer of a blind plot knows its history, so it is used as anywhere else.
        """
        survey, memory = self._known
        plot = survey.plots[reading.plot]
        rules = replace(survey.rules_of(reading.plot), blind=False)
        key, saved = key_of(reading), memory.saved
        others = saved.lacking(key) if key in saved else saved
        memory = replace(memory, plot=reading.plot, saved=others)
        found = warnings_before(memory, plot, rules, replace(reading, value=value))
        return tuple(item for item in found if item.check not in _OF_TAGS)

    def settings(self, reading: Reading) -> PlotSettings:
        """How the reading's plot is measured."""
        return self._known[0].plots[reading.plot].settings


def rule(
    folder: SurveyFolder,
    proposed: Sequence[Proposed],
    at: str,
    accepted: bool = False,
    still: Callable[[], None] = lambda: None,
) -> list[Ruling]:
    """Journal these rulings, all or none; ``accepted``: also values with a warning.

    ``still`` as in ``add_rulings``. Raises OperatorError naming what cannot be taken.
    """
    bench = Bench(folder)
    checked = [checked_ruling(bench, item, accepted) for item in proposed]
    writer = JournalWriter(folder.database)
    try:
        still()
        writer.append_all(at, [(KIND, ruling_body(ruling)) for ruling in checked])
    finally:
        writer.close()
    return checked


def checked_ruling(bench: Bench, given: Proposed, accepted: bool = False) -> Ruling:
    """The ruling that was proposed. Raises OperatorError where it cannot be taken."""
    reading = bench.reading(given.entry)
    if reading is None:
        raise OperatorError(
            f"entry {given.entry} saved no reading: 'callout replay' names the entry that did"
        )
    if given.verdict not in VERDICTS:
        raise OperatorError(f"verdict {given.verdict!r}: use {', '.join(VERDICTS)}")
    if (given.value is not None) != (given.verdict == "amended"):
        raise OperatorError(f"entry {given.entry}: a value goes with amended, and only with it")
    value = None if given.value is None else _size(bench, reading, given.value, accepted)
    return Ruling(
        reading=reading.entry,
        verdict=given.verdict,
        value=value,
        unit=reading.unit.value,
        reason=one_line("reason", given.reason),
        who=one_line("name", given.who),
    )


def _size(bench: Bench, reading: Reading, text: str, accepted: bool) -> Decimal:
    """A size within the limits of the tree: the plot's range and graduation, and every check."""
    value, settings = parse_decimal(text), bench.settings(reading)
    where = f"entry {reading.entry}: {text} {settings.unit.value}"
    if not settings.smallest <= value <= settings.largest:
        raise OperatorError(
            f"{where} is outside {settings.smallest} to {settings.largest}, the plot's sizes: "
            "is the decimal point right?"
        )
    kept = to_graduation(value, settings.graduation, settings.rounding)
    if kept != value:
        raise OperatorError(
            f"{where} is between two graduations of {settings.graduation}: "
            f"{kept} would be kept of it; give that, or what the tape shows"
        )
    warned = bench.warned(reading, kept)
    if warned and not accepted:
        told = english().part
        says = "; ".join(
            ", ".join(told(part) for part in (one.says, one.look) if part is not None)
            for one in warned
        )
        raise OperatorError(f"{where}: {says}: add --accept to take it all the same")
    return kept


def one_line(what: str, given: str) -> str:
    """A reason or name as given, trimmed. Raises OperatorError for none, or more than a line."""
    plain = given.strip()
    if not plain:
        raise OperatorError(f"a {what} is needed, and none was given")
    if len(plain) > LONGEST_TEXT or not plain.isprintable():
        raise OperatorError(f"{what} {plain[:40]!r}…: one line of up to {LONGEST_TEXT} letters")
    return plain


def read_rulings(path: Path) -> list[Proposed]:
    """The rulings in a file exported by the review page. Raises OperatorError for others."""
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
    entry, value, recorder = item["entry"], item.get("value"), item.get("recorder", "")
    texts = [item["verdict"], item["reason"], item["who"], recorder, value or ""]
    if type(entry) is not int or not all(isinstance(text, str) for text in texts):
        raise TypeError("a ruling's entry is a number, all else is text")
    return Proposed(entry, item["verdict"], value, item["reason"], item["who"], recorder)
