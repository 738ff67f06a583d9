"""Numbers of things in English, for what commands and pages tell. Pure."""

from __future__ import annotations


def counted(number: int, one: str, many: str = "") -> str:
    """``1 tree``, ``1,200 trees``; ``many`` where it is not ``one`` with an s."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"
