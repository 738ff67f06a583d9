"""What a callout means once its words are parsed, before any roster or history is looked at.

A meaning is built from the tokens that a grammar emits, so every value in it was said. Values stay
text or exact decimals. Choosing among several meanings is ``grammar.choose``'s job.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from callout.core.units import Scale, Unit, convert

READING_KINDS = frozenset({"reading", "size", "amend", "new"})


@dataclass(frozen=True)
class Meaning:
    """One possible meaning of the words.

    ``kind`` says which of the other fields matter. ``tag`` is the tag as said, leading zeros kept;
    ``value`` the size as said, exact, in ``unit`` (None: the plot's unit) and ``scale`` (None: the
    plot's); ``implied`` marks a decimal point that was not said. ``height_m`` is in metres, exact;
    ``height_unit`` is feet if it was said in feet. ``text`` holds the words of a typed note, or a
    plot's name. ``bare``: the tag came in words, without the word for it ("sixty nineteen").
    ``species`` is "" if one was said that is not listed, or was not understood.
    ``not_tag`` is a tag that was taken back ("tree 84, not 83").
    """

    kind: str
    tag: str | None = None
    value: Decimal | None = None
    unit: Unit | None = None
    implied: bool = False
    status: str | None = None
    stem: str | None = None
    species: str | None = None
    height_m: Decimal | None = None
    new_tag: str | None = None
    scale: Scale | None = None
    height_unit: Unit | None = None
    text: str | None = None
    bare: bool = False
    not_tag: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values for JSON; numbers as exact text, absent parts left out but the main four."""
        told: dict[str, Any] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, Decimal):
                value = f"{value:f}"
            elif isinstance(value, Unit | Scale):
                value = value.value
            if item.name in ("kind", "tag", "value", "unit") or value not in (None, False):
                told[item.name] = value
        return told

    @classmethod
    def from_json(cls, told: dict[str, Any]) -> Meaning:
        """The meaning that ``as_json`` wrote."""
        given = dict(told)
        for name in ("value", "height_m"):
            if given.get(name) is not None:
                given[name] = Decimal(given[name])
        if given.get("unit") is not None:
            given["unit"] = Unit(given["unit"])
        if given.get("height_unit") is not None:
            given["height_unit"] = Unit(given["height_unit"])
        if given.get("scale") is not None:
            given["scale"] = Scale(given["scale"])
        return cls(**given)


# In one number: more than any tape shows, and few enough that arithmetic stays exact.
MOST_FIGURES = 12
BARE = "@bare"
"""Emitted for a tag that came without the word "tree"."""
_SLOTS = ("tag", "size", "stem", "height", "new", "retag", "species", "plot", "not")
_BETWEEN = ("@pause", "@link")
_YES = ("confirm", "accept")


def meaning_of(tokens: Sequence[str]) -> Meaning | None:
    """The meaning of a grammar's emitted tokens.

    None if they form no number or a later word leaves the meaning open: "yes, so" is no yes.
    """
    if _goes_on(tokens):
        return None
    slots: dict[str, str] = {}
    said: dict[str, str] = {}
    slot = ""
    for token in tokens:
        name, _, argument = token[1:].partition(":")
        if token in _BETWEEN:
            continue
        if token == "@anew":
            slots, said, slot = {}, {}, ""
        elif token == "@redo":
            slots[slot] = ""
        elif token.startswith("@") and name in _SLOTS:
            slot = name
            slots[slot] = argument
        elif token.startswith("@"):
            said[name] = argument
        else:
            slots[slot] = slots.get(slot, "") + token
    if slots.get("size") == "" and "status" in said:
        del slots["size"]  # "8.4, no wait, cut": a status came in its place
    value, height = _number(slots.get("size")), _number(slots.get("height"))
    if ("size" in slots and value is None) or ("height" in slots and height is None):
        return None
    height_unit = Unit(said.get("height_unit", Unit.METRE.value))
    return Meaning(
        kind=said.get("kind", ""),
        tag=slots.get("tag") or slots.get("new") or None,
        value=value,
        unit=Unit(said["unit"]) if "unit" in said else None,
        implied="~" in slots.get("size", ""),
        status=said.get("status"),
        stem=slots.get("stem"),
        species=slots["species"].replace("_", " ") if "species" in slots else None,
        height_m=height if height is None else convert(height, height_unit, Unit.METRE),
        height_unit=Unit.FOOT if height_unit is Unit.FOOT else None,
        scale=Scale(said["scale"]) if "scale" in said else None,
        new_tag=slots.get("retag"),
        not_tag=slots.get("not") if said.get("kind") == "mistag" else None,
        text=slots["plot"].replace("_", " ") if "plot" in slots else None,
    )


def _goes_on(tokens: Sequence[str]) -> bool:
    """Whether more was to follow, a yes is not said plainly, or a word interrupts a number."""
    if any(f"@kind:{kind}" in tokens for kind in _YES):
        return "@link" in tokens or tokens[-1] in _BETWEEN
    return bool(tokens) and (tokens[-1] == "@link" or _cut_by("@link", tokens))


def parted(tokens: Sequence[str]) -> bool:
    """Whether there was a pause between the figures of one number.

    "Nineteen, um, three" may be 19.3, or a 3 that corrects the 19.
    """
    return _cut_by("@pause", tokens)


def _cut_by(between: str, tokens: Sequence[str]) -> bool:
    before, cut = "@", False
    for token in tokens:
        if token in _BETWEEN:
            cut = cut or token == between
        else:
            if cut and _are_figures(before) and _are_figures(token):
                return True
            before, cut = token, False
    return False


def _are_figures(token: str) -> bool:
    """Figures of a number, but not its point: a pause may occur between them."""
    return not token.startswith(("@", ".")) and token != "_"


def _number(text: str | None) -> Decimal | None:
    if not text:
        return None
    plain = text.replace("~", ".")
    if plain.count(".") > 1 or plain.startswith(".") or len(plain) > MOST_FIGURES:
        return None
    return Decimal(plain.rstrip(".") or "0")
