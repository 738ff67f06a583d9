"""Questions asked when it is unclear what was said, worded so that they can be answered.

Commands are asked about by the plain words that a person says for them, numbers by their digits.
What two meanings have in common is left out; if nothing is left, the question is open.
"""

from __future__ import annotations

from callout.core.meaning import Meaning
from callout.core.saying import Saying, Says, as_is, saying
from callout.core.told import command_told, side_told, status_told, unit_told

UNSURE = saying("not-sure")
SPECIES_UNHEARD = saying("species-unheard")
_FIGURES = frozenset(
    {"spelt-tree", "spelt-tree-alone", "spelt-new-tag", "spelt-whole", "spelt-value"}
    | {"spelt-amount", "meant-stem", "metres"}
)


def doubt(first: Meaning, second: Meaning) -> Saying:
    """Which of two things was said, and how to say it so that they can be told apart."""
    one, other = told_apart(first, second), told_apart(second, first)
    if not one or not other or one == other:
        return UNSURE
    either = {"one": saying("reading", parts=one), "other": saying("reading", parts=other)}
    if any(part.key in _FIGURES for part in (*one, *other)):
        return saying("could-be-digits", **either)
    return saying("could-be-either", **either)


def told_apart(meaning: Meaning, other: Meaning) -> Says:
    """``meaning`` without what it has in common with ``other``; '' if nothing is left."""
    parts = (
        *_tag(meaning, other),
        *_stem(meaning, other),
        *([side_told(meaning.scale)] if meaning.scale and meaning.scale is not other.scale else []),
        *_size(meaning, other),
        *_rest(meaning, other),
    )
    if parts:
        return parts
    return _kind(meaning) if meaning.kind != other.kind else _without(meaning, other)


def spelt(figures: str) -> str:
    """A number by its digits: 109 as ``1 0 9``."""
    return " ".join(figures)


def _tag(meaning: Meaning, other: Meaning) -> Says:
    if not meaning.tag or meaning.tag == other.tag:
        return ()
    return (saying("spelt-tree", figures=spelt(meaning.tag)),)


def _stem(meaning: Meaning, other: Meaning) -> Says:
    if not meaning.stem or meaning.stem == other.stem:
        return ()
    return (saying("meant-stem", stem=meaning.stem),)


def _size(meaning: Meaning, other: Meaning) -> Says:
    value, unit = meaning.value, meaning.unit
    if value is None or (value, unit) == (other.value, other.unit):
        return ()
    whole, point, places = f"{value:f}".partition(".")
    digits = saying("spelt-whole", whole=spelt(whole))
    if point:
        digits = saying("spelt-value", whole=spelt(whole), places=spelt(places))
    if unit is not None and unit is not other.unit:
        return (saying("spelt-amount", value=digits, unit=unit_told(unit, short=True)),)
    return (digits,)


def _rest(meaning: Meaning, other: Meaning) -> Says:
    """Status, species, new tag and height, where they differ."""
    parts = []
    if meaning.status and meaning.status != other.status:
        parts.append(status_told(meaning.status))
    if meaning.species and meaning.species != other.species:
        parts.append(as_is(meaning.species))
    if meaning.new_tag and meaning.new_tag != other.new_tag:
        parts.append(saying("spelt-new-tag", figures=spelt(meaning.new_tag)))
    if meaning.height_m is not None and meaning.height_m != other.height_m:
        parts.append(saying("metres", metres=meaning.height_m))
    return tuple(parts)


def _kind(meaning: Meaning) -> Says:
    """A command by its plain words; a tree by its tag, a size by its value."""
    if meaning.tag and meaning.kind == "tree":
        return (saying("spelt-tree-alone", figures=spelt(meaning.tag)),)
    if meaning.tag and meaning.kind == "reading":
        return (saying("its-diameter"),)
    return (command_told(meaning.kind),)


def _without(meaning: Meaning, other: Meaning) -> Says:
    """For two of the same kind, what this one lacks of the other."""
    if meaning.value is None and other.value is not None:
        return (saying("no-diameter"),)
    return (saying("no-stem"),) if other.stem and not meaning.stem else ()
