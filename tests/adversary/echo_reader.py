"""Reads an echo as a careful person hears it: what would be stored, word for word.

Written from the sentences alone (docs/session.md), not from the code that words them: nothing of
``callout`` is imported here. What cannot be read is no echo to say yes to.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal

UNITS = {"inches": "in", "centimetres": "cm", "millimetres": "mm", "metres": "m", "feet": "ft"}
STATUSES = frozenset({"live", "dead standing", "dead down", "cut", "missing", "not found"})
ASKS = {"Confirm?": "confirm", "Accept?": "accept"}
_SENTENCES = re.compile(r"(?<=[.?!])\s+")
_NUMBER = r"([0-9]+(?:\.[0-9]+)?)"
_SIZE = re.compile(rf"{_NUMBER}(?: ({'|'.join(UNITS)}))?")
_TREE = re.compile(r"((?i:new tree) )?([A-Z0-9-]+)(?: stem ([0-9]))?( again: (.*))?")
_GONE_BEFORE = ("was not saved.", "was not undone.", "is dropped.")


@dataclass(frozen=True)
class What:
    """Of one stem: the figure called and the diameter kept, each with a unit if one was told."""

    called: Decimal | None = None
    called_unit: str = ""
    girth: bool = False
    kept: Decimal | None = None
    kept_unit: str = ""
    height: Decimal | None = None
    status: str = "live"


@dataclass(frozen=True)
class Echo:
    """All that an echo tells. ``tag`` is what hangs on the tree; ``lost`` what is said of its tag.

    ``wants`` is the word it asks for. ``instead`` is what stands now (``hidden``: it is not told).
    ``undo`` takes ``what`` back, and ``instead`` stands again then.
    """

    tag: str
    stem: str = ""
    new: bool = False
    again: bool = False
    lost: str = ""
    species: str = ""
    what: What = What()
    instead: What | None = None
    hidden: bool = False
    undo: bool = False
    wants: str = ""
    more: tuple[str, ...] = ()


def waiting_echo(text: str, species: frozenset[str]) -> Echo | None:
    """The echo that ``text`` ends with and asks a yes for; None where it asks for none."""
    sentences = _SENTENCES.split(text.strip())
    wants = ASKS.get(sentences[-1])
    if wants is None and sentences[-1].startswith("Say accept to "):
        wants = "accept"
    if wants is None or any(one.startswith("Note about ") for one in sentences):
        return None
    told = sentences[:-1]
    for at, one in enumerate(told):
        for opening in ("Still waiting: ", "Not saved yet: "):
            if one.startswith(opening):
                told = [one.removeprefix(opening), *told[at + 1 :]]
                return _body(told[0], wants, species)
    while told and told[0].endswith(_GONE_BEFORE):
        told = told[1:]
    return _body(told[0], wants, species) if told else None


def _body(sentence: str, wants: str, species: frozenset[str]) -> Echo | None:
    sentence = sentence.removesuffix(".").removesuffix("?")
    if sentence[:5].casefold() == "undo ":
        return _undo(sentence[5:], wants, species)
    parts = sentence.split(", ")
    tree = _TREE.fullmatch(parts[0])
    if tree is None:
        return None
    echo = Echo(
        tag=tree[2], stem=tree[3] or "", new=bool(tree[1]), again=bool(tree[4]), wants=wants
    )
    return _rest(echo, [tree[5], *parts[1:]] if tree[4] else parts[1:], species)


def _rest(echo: Echo, parts: list[str], species: frozenset[str]) -> Echo | None:
    if parts and (parts[0] == "tag lost" or parts[0].startswith("was ")):
        echo, parts = replace(echo, lost=parts[0]), parts[1:]
    if parts and parts[0] in species:
        echo, parts = replace(echo, species=parts[0]), parts[1:]
    what, instead, left = _what(parts)
    if what is None:
        return None
    echo = replace(echo, what=what, more=tuple(left))
    if instead == "the reading before":
        return replace(echo, hidden=True)
    if instead is not None:
        stood, more, left = _what([instead, *left])
        return None if stood is None or more else replace(echo, instead=stood, more=tuple(left))
    return _spelt_rightly(echo)


def _spelt_rightly(echo: Echo) -> Echo | None:
    """A tag or size that is spelt besides must be the same."""
    for part in echo.more:
        if re.fullmatch(r"tag( \S)+", part) and part[4:].replace(" ", "") != echo.tag:
            return None
    return echo


def _undo(sentence: str, wants: str, species: frozenset[str]) -> Echo | None:
    row, colon, after = sentence.partition(": ")
    body = _body(row, wants, species)
    if not colon or body is None or body.more:
        return None
    body = replace(body, undo=True)
    if after == "nothing of it stands then":
        return body
    if after == "the reading before stands again":
        return replace(body, hidden=True)
    stood, more, left = _what(after.removesuffix(" stands again").split(", "))
    return None if stood is None or more or left else replace(body, instead=stood)


def _what(parts: list[str]) -> tuple[What | None, str | None, list[str]]:
    """What is told of a stem, what it stands instead of, and the parts that follow."""
    found, instead, parts = What(), None, list(parts)

    def take() -> str:
        nonlocal instead
        part, told, before = parts.pop(0).partition(" instead of ")
        instead = before if told else instead
        return part

    if not parts:
        return None, None, []
    first = take()
    if first in STATUSES:
        return replace(found, status=first), instead, parts
    found = replace(found, girth=first.startswith("girth "))
    size = _SIZE.fullmatch(first.removeprefix("girth "))
    if size is None:
        return None, None, []
    called, unit = Decimal(size[1]), UNITS.get(size[2] or "", "")
    found = replace(found, called=called, called_unit=unit, kept=called, kept_unit=unit)
    opening = "diameter " if found.girth else "kept as "
    if instead is None and parts and parts[0].startswith(opening):
        size = _SIZE.fullmatch(take().removeprefix(opening))
        if size is None:
            return None, None, []
        found = replace(found, kept=Decimal(size[1]), kept_unit=UNITS.get(size[2] or "", ""))
    elif found.girth:
        return None, None, []
    if instead is None and parts and parts[0].startswith("measured at "):
        found = _height(found, take().removeprefix("measured at "), parts, take)
        if found is None:
            return None, None, []
    if instead is None and parts and parts[0].partition(" instead of ")[0] in STATUSES:
        found = replace(found, status=take())
    return found, instead, parts


def _height(found: What, told: str, parts: list[str], take: object) -> What | None:
    if re.fullmatch(rf"{_NUMBER} feet", told) and parts:
        told = take()  # type: ignore[operator]
    metres = re.fullmatch(rf"{_NUMBER} metres", told)
    return replace(found, height=Decimal(metres[1])) if metres else None
