"""The protocol of the control socket: one JSON object per line, versioned, bounded in size.

Pure: bytes in, checked values out. Whatever does not fit is refused with a reason, never guessed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from callout.core.errors import OperatorError
from callout.core.given import Reader, boolean, one_of, read_table, whole
from callout.session.phase import Phase
from callout.station.face import MOST_KEYS, MOST_TYPED, Level, SavedLine, Update, View

VERSION = 2
MOST_ASKED_BYTES = 32_768
"""A request is at most a typed line and the times of its keys."""
MOST_TOLD_BYTES = 4_000_000
"""A view names every tree that is left; a plot of some hundred thousand trees fits."""
KEYS = (
    "confirm",
    "accept",
    "reject",
    "undo",
    "repeat",
    "scratch",
    "left",
    "where",
    "skip",
    "complete",
    "note",
    "pause",
    "resume",
    "next",
)


@dataclass(frozen=True)
class Request:
    """A checked request to the daemon: ``do`` and its arguments."""

    do: str
    text: str = ""
    keys_s: tuple[float, ...] = ()
    kind: str = ""
    waiting: int = 0
    muted: bool = False
    plot: str = ""
    who: str = ""


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > MOST_TYPED:
        raise OperatorError(f"text of at most {MOST_TYPED} characters is wanted")
    return value.encode("utf-8", "replace").decode("utf-8")


def _times(value: Any) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) > MOST_KEYS:
        raise OperatorError(f"a list of at most {MOST_KEYS} times is wanted")
    for item in value:
        if type(item) not in (int, float) or not math.isfinite(item):
            raise OperatorError("times are numbers of seconds")
    return tuple(map(float, value))


_number = whole(0, 2**53 - 1)
# The requests: each one's fields, and how each is checked; all are required but keys_s.
_REQUESTS: Mapping[str, Mapping[str, Reader]] = {
    "watch": {},
    "view": {},
    "stop": {},
    "submit": {"text": _text, "waiting": _number, "keys_s": _times},
    "settle": {},
    "press": {"kind": one_of(*KEYS), "waiting": _number},
    "mute": {"muted": boolean},
    "open": {"plot": _text, "who": _text},
    "talk": {},
}


def request_from(line: bytes) -> Request:
    """The request in one line. Raises OperatorError saying what does not fit."""
    if len(line) > MOST_ASKED_BYTES:
        raise OperatorError(f"a request is at most {MOST_ASKED_BYTES} bytes")
    given = _object(line)
    if given.pop("v", None) != VERSION:
        raise OperatorError(f"this daemon speaks version {VERSION}: use the same callout for both")
    do = given.pop("do", None)
    if not isinstance(do, str) or do not in _REQUESTS:
        raise OperatorError(f"no such request: there are {', '.join(_REQUESTS)}")
    readers = _REQUESTS[do]
    missing = sorted(readers.keys() - given.keys() - {"keys_s"})
    try:
        if missing:
            raise OperatorError(f"{missing[0]} is missing")
        return Request(do, **read_table(given, readers))
    except OperatorError as error:
        raise OperatorError(f"{do}: {error}") from None


def _object(line: bytes) -> dict[str, Any]:
    try:
        given = json.loads(line.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise OperatorError("a request is one JSON object on one line, in UTF-8") from None
    if not isinstance(given, dict):
        raise OperatorError("a request is one JSON object on one line, in UTF-8")
    return given


def _no_constant(name: str) -> None:
    raise ValueError(name)


def line_of(message: Mapping[str, Any]) -> bytes:
    """A message as a line, with the version."""
    return json.dumps({"v": VERSION, **message}, ensure_ascii=True).encode() + b"\n"


def asked(request: Request) -> bytes:
    """A request as its line."""
    wanted = _REQUESTS[request.do]
    return line_of({"do": request.do, **{name: getattr(request, name) for name in wanted}})


# ---- replies and updates ----


def update_line(update: Update) -> bytes:
    """A view or a level as its line."""
    return line_of({"view" if isinstance(update, View) else "level": asdict(update)})


def told_from(line: bytes) -> dict[str, Any]:
    """A message of the daemon: ``view``, ``level``, ``hello``, ``settled``, ``error`` or ``bye``.

    Raises OperatorError for anything that a daemon of this version does not send.
    """
    given = _object(line)
    if given.pop("v", None) != VERSION:
        raise OperatorError("the daemon is of another version: use the same callout for both")
    try:
        if "view" in given:
            given["view"] = _view_from(given["view"])
        if "level" in given:
            level = given["level"]
            given["level"] = Level(float(level["dbfs"]), bool(level["speaking"]))
    except (TypeError, ValueError, KeyError):
        raise OperatorError("the daemon told something that is no view") from None
    return given


def _view_from(given: dict[str, Any]) -> View:
    texts = {"warnings", "looks", "left", "faults", "hints", "remedies"}
    lists = {item.name for item in fields(View)} & texts
    made: dict[str, Any] = {
        name: tuple(map(str, value)) if name in lists else value for name, value in given.items()
    }
    made["recent"] = tuple(SavedLine(**item) for item in given.get("recent", ()))
    made["phase"] = Phase(given["phase"])
    return View(**made)
