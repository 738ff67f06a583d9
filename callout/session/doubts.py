"""The questions that are asked where it is not sure what was said: ones that can be answered.

Commands are asked about by the plain words that a person says for them, numbers by their digits.
What two meanings have in common is left out, and where nothing is left the question is open.
"""

from __future__ import annotations

from callout.core.meaning import Meaning, plain_word
from callout.core.units import Scale

UNSURE = "not sure what was said: say it again"


def doubt(first: Meaning, second: Meaning) -> str:
    """Which of two things was said; how to say it so that it is told apart."""
    told = told_apart(first, second), told_apart(second, first)
    if not all(told) or told[0] == told[1]:
        return UNSURE
    either = f"could be {told[0]}, or {told[1]}"
    figures = any(character.isdigit() for part in told for character in part)
    return f"{either}: say it again{', digit by digit' if figures else ''}"


def told_apart(meaning: Meaning, other: Meaning) -> str:
    """``meaning`` in words, without what ``other`` has in common with it; '' for nothing left."""
    parts = [
        f"tree {spelt(meaning.tag)}" if meaning.tag and meaning.tag != other.tag else "",
        f"stem {meaning.stem}" if meaning.stem and meaning.stem != other.stem else "",
        _side(meaning) if meaning.scale is not other.scale else "",
        _size(meaning, other),
        (meaning.status or "").replace("_", " ") if meaning.status != other.status else "",
        meaning.species or "" if meaning.species != other.species else "",
        f"new tag {spelt(meaning.new_tag)}"
        if meaning.new_tag and meaning.new_tag != other.new_tag
        else "",
        f"{meaning.height_m} metres"
        if meaning.height_m is not None and meaning.height_m != other.height_m
        else "",
    ]
    named = ", ".join(part for part in parts if part)
    return named or (_kind(meaning) if meaning.kind != other.kind else _without(meaning, other))


def spelt(figures: str) -> str:
    """A number by its digits: 109 as ``1 0 9``."""
    return " ".join(figures)


def _size(meaning: Meaning, other: Meaning) -> str:
    value, unit = meaning.value, meaning.unit
    if value is None or (value, unit) == (other.value, other.unit):
        return ""
    whole, point, places = f"{value:f}".partition(".")
    digits = " ".join([spelt(whole), *(["point", spelt(places)] if point else [])])
    return f"{digits} {unit.value}" if unit is not None and unit is not other.unit else digits


def _side(meaning: Meaning) -> str:
    return "girth" if meaning.scale is Scale.GIRTH else "diameter"


def _kind(meaning: Meaning) -> str:
    """A command by its plain words; a tree by its tag, a size by what it is."""
    if meaning.tag and meaning.kind in ("tree", "reading"):
        return f"tree {spelt(meaning.tag)} alone" if meaning.kind == "tree" else "its diameter"
    return plain_word(meaning.kind)


def _without(meaning: Meaning, other: Meaning) -> str:
    """One of two of the same kind that says less: by what the other has and it lacks."""
    if meaning.value is None and other.value is not None:
        return "no diameter"
    return "no stem" if other.stem and not meaning.stem else ""
