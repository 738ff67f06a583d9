"""Turns typed or transcribed text into the tokens that a grammar knows.

Spoken words pass unchanged; digits become the classes NUMERAL, DECIMAL and LABEL, with their text.
Hyphens and commas stay as tokens, since they show what belongs together; a dash counts as a comma.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from callout.core.errors import OperatorError
from callout.core.saying import saying

MAX_CHARACTERS = 300


@dataclass(frozen=True)
class Heard:
    """One token: the word (or class) the grammar knows, and the original text."""

    word: str
    text: str


# ASCII digits only: no roster's tag has others. Korean appends a counter to its number ("83번"), so
# a Hangul syllable ends a number as a space does.
_TOKEN = re.compile(
    r"""(?:(?P<whole>[0-9]+)-)?(?P<fraction>[0-9]+/[0-9]+)(?P<part>in|cm|mm|")?(?![^\W가-힣]|[./][0-9])
    |(?P<hyphened>(?:[a-z]{1,3}-[0-9]|[0-9]+-[a-z](?![a-z]{2}))[a-z0-9]*(?:-[a-z0-9]+)*)(?![^\W가-힣]|\.[0-9])
    |(?P<number>[0-9]+(?:\.[0-9]+)?)(?P<unit>in|cm|mm|")?(?![^\W가-힣]|\.[0-9])
    |(?P<label>[a-z]{0,3}[0-9][a-z0-9]*)(?![^\W가-힣]|\.[0-9])
    |(?P<word>[^\W\d_]+(?:'[^\W\d_]+)?)
    |(?P<half>\.[0-9]+)(?P<of>in|cm|mm|")?(?![^\W가-힣]|\.[0-9])
    |(?P<mark>[,"#=-])""",
    re.VERBOSE,
)

_HYPHEN = re.compile(r"(?<=[^\W\d_])-(?=[^\W\d_])")
# Text that would lose its sign or its point if punctuation were ignored.
_MISLEADING = (
    (re.compile(r"(?<=[0-9])\s*[,:;][\s,:;]*\.[0-9]+|\.\.[0-9]+"), saying("size-begins")),
    (re.compile(r"(?<!\w)-[0-9.]+"), saying("size-below-zero")),
    (re.compile(r"[0-9][\s.]*\?"), saying("write-sure")),
    (re.compile(r"[0-9]+,[0-9]+(?!\.?[0-9])"), saying("write-point")),
)


_WITH_COMMA = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]+)(?![0-9.,])")
_ASKING = "?"
_FRACTIONS_OF = (2, 4, 8, 16, 32)
"""The denominators of an inch on a tape (common practice)."""


def tokens_of(text: str, decimal_comma: bool = False) -> tuple[Heard, ...]:
    """The tokens of ``text``, lower case. Raises OperatorError for over-long or unreadable text.

    ``decimal_comma``: ``11,2`` is 11.2 here.
    """
    if len(text) > MAX_CHARACTERS:
        raise OperatorError(saying("callout-too-long", count=len(text)))
    plain = text.lower().replace("’", "'")
    if plain.strip() == _ASKING:
        return (Heard(_ASKING, _ASKING),)
    if decimal_comma:
        plain = _WITH_COMMA.sub(r"\1.\2", plain)
    for pattern, advice in _MISLEADING:
        misled = pattern.search(plain)
        if misled:
            raise OperatorError(saying("cannot-read", words=repr(misled.group()), advice=advice))
    found: list[Heard] = []
    at = 0
    while at < len(plain):
        match = _TOKEN.match(plain, at)
        if match is None and plain[at] in " \t\n\r.;:!?…":
            at += 1
            continue
        if match is None:
            advice = saying("write-words")
            raise OperatorError(
                saying("cannot-read", words=repr(plain[at : at + 12]), advice=advice)
            )
        found.extend(_tokens(match))
        at = match.end()
    return tuple(found)


def is_tag(text: str) -> bool:
    """Whether ``text`` can be typed as the tag of a tree: one token, a number or a label."""
    try:
        tokens = tokens_of(text)
    except OperatorError:
        return False
    return [(token.word, token.text) for token in tokens] in (
        [("NUMERAL", text)],
        [("LABEL", text.upper())],
    )


def _tokens(match: re.Match[str]) -> list[Heard]:
    if match.group("fraction"):
        return _fraction(match)
    number, unit = match.group("number"), match.group("unit")
    if match.group("half"):
        number, unit = f"0{match.group('half')}", match.group("of")
    if number:
        kind = "DECIMAL" if "." in number else "NUMERAL"
        return [Heard(kind, number), *([Heard(unit, unit)] if unit else [])]
    label = match.group("hyphened") or match.group("label")
    if label:
        return [Heard("LABEL", label.upper())]
    mark = match.group("mark")
    if mark == "=" or (mark == "-" and not _HYPHEN.match(match.string, match.start())):
        mark = ","  # a dash parts, as a comma does; only a hyphen within a word joins
    return [Heard(mark or match.group(), match.group())]


def _fraction(match: re.Match[str]) -> list[Heard]:
    """``3/8``, or ``11-3/8``: the fraction's text is what follows the whole number, ``.375``."""
    whole, unit = match.group("whole"), match.group("part")
    top, bottom = map(int, match.group("fraction").split("/"))
    if bottom not in _FRACTIONS_OF or not 0 < top < bottom:
        advice = saying("write-fraction")
        raise OperatorError(saying("cannot-read", words=repr(match.group()), advice=advice))
    part = Heard("FRACTION", f"{Decimal(top) / bottom:f}".removeprefix("0"))
    before = [Heard("NUMERAL", whole)] if whole else []
    return [*before, part, *([Heard(unit, unit)] if unit else [])]
