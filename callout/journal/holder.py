"""Which machine holds a survey, from its settings entries and from who took it over since.

A machine is known by a random number that it chose once, kept with the user's other state. The
number says nothing about who or where.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from callout.core.errors import CalloutError
from callout.survey.files import FOLDER_MODE, write_whole

NOTED = "noted"
"""The kind of entry by which somebody acknowledged a notice and took the survey over."""
MACHINE = "machine"
_FIGURES = 16


def machine_id() -> str:
    """This machine's number, 16 hexadecimal digits; '' if it cannot be kept.

    It is made on first use.
    """
    given = os.environ.get("XDG_STATE_HOME")
    path = (Path(given) if given else Path.home() / ".local" / "state") / "callout" / "machine"
    with suppress(OSError, UnicodeDecodeError):
        found = path.read_text(encoding="ascii").strip()
        if _is_number(found):
            return found
    with suppress(CalloutError, OSError):
        path.parent.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        made = secrets.token_hex(_FIGURES // 2)
        write_whole(path, f"{made}\n".encode())
        return made
    return ""


def holder_in(body: Mapping[str, Any]) -> str:
    """The machine that an entry's body names; '' if it names none."""
    told = body.get(MACHINE, "")
    return told if isinstance(told, str) and _is_number(told) else ""


def _is_number(text: str) -> bool:
    return len(text) == _FIGURES and set(text) <= set("0123456789abcdef")
