"""Data made harmless before it is painted: no escape sequence, control or direction mark survives.

Tags, species and notes come from files and other people. Only neutralising belongs here; where
text is painted, it goes in as `Content`, which is never read as markup.
"""

from __future__ import annotations

import unicodedata

MOST_CHARACTERS = 400
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def plain(text: str, most: int = MOST_CHARACTERS) -> str:
    """``text`` with every unseen character made visible, cut (and marked so) after ``most``."""
    cut = text if len(text) <= most else text[: most - 1] + "…"
    return "".join(map(_visible, cut))


def _visible(character: str) -> str:
    code = ord(character)
    if code < 0x20:
        return chr(0x2400 + code)  # Unicode's control pictures, e.g. ␛ for escape
    if code == 0x7F:
        return "␡"
    return "\ufffd" if unicodedata.category(character) in _UNSEEN else character
