"""Guards texts so that no spreadsheet takes them for a formula, and reverses it.

A text that begins like a formula gets an apostrophe in front, and so does one that begins with an
apostrophe, so that removing one restores the text.
"""

from __future__ import annotations

import re

# Full-width signs too: East Asian spreadsheet settings treat them as the plain ones.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
GUARD = "'"
GUARD_NOTE = (
    "Texts that begin with = + - @ a tab, a line end or an apostrophe have one apostrophe put "
    "before them, so that no spreadsheet runs them; take one off to get the text."
)
_DECIMAL = re.compile(r"-?[0-9]{1,15}(\.[0-9]{1,15})?")


def guarded(text: str) -> str:
    """``text`` made safe for spreadsheets; ``bared`` gives it back."""
    return GUARD + text if text.startswith((*FORMULA_SIGNS, GUARD)) else text


def bared(text: str) -> str:
    """The inverse of ``guarded``."""
    return text[1:] if text.startswith(GUARD) else text


def plain_number(text: str) -> bool:
    """Whether a text is a bare decimal, which no spreadsheet takes for a formula."""
    return bool(_DECIMAL.fullmatch(text))
