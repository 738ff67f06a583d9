"""Makes data harmless before it is painted: no escape sequence, control or direction mark survives.

Tags, species and notes come from files and other people. Only neutralising belongs here; painted
text is passed as `Content`, which is never read as markup.
"""

from __future__ import annotations

from callout.core.unseen import pictured

MOST_CHARACTERS = 400


def plain(text: str, most: int = MOST_CHARACTERS) -> str:
    """``text`` with every unseen character made visible, cut (and marked so) after ``most``."""
    cut = text if len(text) <= most else text[: most - 1] + "…"
    return pictured(cut)
