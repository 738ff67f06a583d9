"""Invisible characters that a terminal may obey: controls, direction marks, line ends.

Tags, species and notes come from files and other people. Everything that reaches a terminal is made
harmless by one of these functions.
"""

from __future__ import annotations

import unicodedata

_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # categories of the Unicode standard


def is_unseen(character: str) -> bool:
    """Whether a character is invisible, by its Unicode category."""
    return unicodedata.category(character) in _UNSEEN


def spelt(text: str) -> str:
    """``text`` with each of them as ``\\uXXXX``, which JSON reads back; line feeds stay."""
    if text.isprintable():
        return text
    return "".join(_spelt(one) if one != "\n" and is_unseen(one) else one for one in text)


def pictured(text: str) -> str:
    """``text`` with a picture of each: ␛ for escape, � for those without one."""
    return text if text.isprintable() else "".join(map(_picture, text))


def dropped(text: str) -> str:
    """``text`` without them."""
    return text if text.isprintable() else "".join(one for one in text if not is_unseen(one))


def _spelt(character: str) -> str:
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))


def _picture(character: str) -> str:
    code = ord(character)
    if code < 0x20:
        return chr(0x2400 + code)  # Unicode's control pictures
    if code == 0x7F:
        return "␡"
    return "\ufffd" if is_unseen(character) else character
