"""A ruling as a page asks for it, checked for its form; whether it may be made is decided later."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from callout.core.errors import InUseError, OperatorError

_WAIT_S = 5.0
_MOST = 2  # a pair, ruled on at one stroke
Done = TypeVar("Done")


class MeanwhileError(OperatorError):
    """Somebody ruled on the reading since the page was made."""


@dataclass(frozen=True)
class Proposed:
    """A ruling as somebody wrote it; nothing of it is checked yet.

    ``recorder`` is '' where there is one journal.
    """

    entry: int
    verdict: str
    value: str | None
    reason: str
    who: str
    recorder: str = ""


@dataclass(frozen=True)
class Asked:
    """``recorder`` is '' at a survey of one; ``seen`` names the ruling that stood there."""

    recorder: str
    proposed: Proposed
    seen: str


def asked_in(data: bytes) -> tuple[list[Asked], bool]:
    """The rulings of one request, and whether a warned value is to be taken all the same.

    Raises OperatorError for what no page of ours asks.
    """
    try:
        given = json.loads(data)
        reason, who, accept = given["reason"], given["who"], given["accept"]
        found = [_asked(item, reason, who) for item in given["rulings"]]
    except (KeyError, TypeError, ValueError, RecursionError):
        raise OperatorError("that is no ruling as this page asks for it") from None
    if not 1 <= len(found) <= _MOST or not isinstance(accept, bool):
        raise OperatorError("that is no ruling as this page asks for it")
    return found, accept


def _asked(item: Mapping[str, Any], reason: str, who: str) -> Asked:
    recorder, _, entry = item["name"].rpartition(":")
    value = item.get("value")
    texts = (reason, who, item["verdict"], item["seen"], "" if value is None else value)
    if not all(isinstance(text, str) for text in texts) or not entry.isascii():
        raise TypeError("texts are wanted")
    return Asked(recorder, Proposed(int(entry), item["verdict"], value, reason, who), item["seen"])


def patiently(act: Callable[[], Done]) -> Done:
    """Another program may hold the journal for a moment: it is waited for."""
    until = time.monotonic() + _WAIT_S
    while True:
        try:
            return act()
        except InUseError:
            if time.monotonic() > until:
                raise
            time.sleep(0.05)
