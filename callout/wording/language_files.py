"""The language files: in ``CALLOUT_GRAMMARS``, if set, before our own."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

from callout.core.errors import OperatorError
from callout.wording.wording import Wording

_OURS = Path(__file__).parent
ENGLISH = "en"


@cache
def english() -> Wording:
    """English, for what is told when no language is known."""
    return Wording(ENGLISH, _text(_OURS / "en.ftl"))


def load_wording(code: str) -> Wording:
    """The wording of language ``code``; English for what it lacks.

    Raises OperatorError for a file that cannot be read.
    """
    own = os.environ.get("CALLOUT_GRAMMARS")
    folders = (*([Path(own).expanduser()] if own else []), _OURS)
    found = next((one for one in (f / f"{code}.ftl" for f in folders) if one.is_file()), None)
    if found is None or found == _OURS / "en.ftl":
        return english()
    return Wording(code, _text(found), english())


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise OperatorError(f"{path} cannot be read as words: {error}") from None
