"""A line pattern of named fields, compiled to a scan that runs once along the line.

Users write patterns in ``survey.toml``; a regular expression there could run forever on a
hostile line, this cannot. ``{value} {unit}`` reads ``24.6 cm`` and ``24.6cm``.

    text        itself, letter for letter; a blank stands for any number of blanks, or none
                where the fields around it cannot run together
    {value}     the number               {unit}   mm cm m in ft and their usual spellings
    {scale}     diameter or girth        {tag}    the tree: letters, digits, - and _
    {skip}      anything up to the next text
    {checksum}  two hex digits: exclusive-or of what stands between ``$`` and ``*``
    {name:8}    exactly eight characters, blanks around the field allowed
    {{ }}       the braces themselves

Turning the text found into a measurement is in ``lines``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from callout.core.errors import OperatorError
from callout.devices.line_format.numerals import scan_number

NAMES = ("value", "unit", "scale", "tag", "skip", "checksum")
LONGEST_PATTERN = 200
_PLAIN = ("text", "blank", "gap")
_CLEAR = frozenset({("value", "unit"), ("value", "scale"), ("unit", "value"), ("scale", "value")})
"""Pairs of fields that may touch: digits end where letters begin."""
LONGEST_TAG = 20
PRESETS = {
    "number": "{value}",
    "plain": "{value} {unit}",
    # NMEA 0183 framing: $, five letters of address, fields between commas, * and a checksum.
    "nmea": "${skip:5},{value},{unit}*{checksum}",
    # NMEA 0183 XDR, transducer type D (a length), in metres (M), and the transducer's name.
    "nmea-xdr": "${skip:2}XDR,D,{value},{unit},{skip}*{checksum}",
    "fixed": "{value:8}{unit:2}",
}

Token = tuple[str, str, int]
"""Kind (``text``, ``blank``, ``gap`` or a field's name), text, width (0: unlimited).

A ``gap`` is a required blank.
"""


@dataclass(frozen=True)
class Template:
    """A compiled pattern; ``fields`` names what it finds."""

    pattern: str
    tokens: tuple[Token, ...]

    @property
    def fields(self) -> frozenset[str]:
        """The names of the fields except ``skip``."""
        return frozenset(kind for kind, _, _ in self.tokens) - {*_PLAIN, "skip"}


def compile_template(pattern: str) -> Template:
    """The pattern, or the preset of that name, ready to scan.

    Raises OperatorError naming what is wrong: a field that is unknown, repeated or without an end,
    no ``{value}``, or a checksum without ``$`` and ``*``.
    """
    pattern = PRESETS.get(pattern, pattern)
    if not pattern.strip() or len(pattern) > LONGEST_PATTERN:
        raise OperatorError(
            f"a pattern has 1 to {LONGEST_PATTERN} characters, this one {len(pattern)}"
        )
    tokens = _tokens(pattern)
    _refuse_unclear(pattern, tokens)
    return Template(pattern, tuple(_with_gaps(tokens)))


def _with_gaps(tokens: list[Token]) -> list[Token]:
    """Require a blank between fields that would otherwise run together."""
    spaced = list(tokens)
    for at in range(1, len(tokens) - 1):
        (kind, _, width), (after, _, _) = tokens[at - 1], tokens[at + 1]
        if tokens[at][0] == "blank" and not width and _run_into(kind, after):
            spaced[at] = ("gap", " ", 0)
    return spaced


def _run_into(kind: str, after: str) -> bool:
    """Whether it is unclear, between two adjacent fields, where the first one ends."""
    if kind in _PLAIN or after in _PLAIN:
        return False
    return kind in ("skip", "tag") or (kind, after) not in _CLEAR


def _tokens(pattern: str) -> list[Token]:
    tokens: list[Token] = []
    at = 0
    while at < len(pattern):
        here = pattern[at]
        if here in "{}" and pattern[at : at + 2] == here * 2:
            _add_text(tokens, here)
            at += 2
        elif here == "{":
            end = pattern.find("}", at)
            if end < 0:
                raise OperatorError(f"pattern {pattern!r}: '{{' at {at + 1} is never closed")
            tokens.append(_field(pattern, pattern[at + 1 : end]))
            at = end + 1
        elif here == "}":
            raise OperatorError(f"pattern {pattern!r}: '}}' at {at + 1} closes nothing")
        elif here in " \t":
            if not tokens or tokens[-1][0] != "blank":
                tokens.append(("blank", " ", 0))
            at += 1
        else:
            _add_text(tokens, here)
            at += 1
    return tokens


def _add_text(tokens: list[Token], text: str) -> None:
    if tokens and tokens[-1][0] == "text":
        tokens[-1] = ("text", tokens[-1][1] + text, 0)
    else:
        tokens.append(("text", text, 0))


def _field(pattern: str, inside: str) -> Token:
    name, colon, width = inside.partition(":")
    if name not in NAMES:
        raise OperatorError(
            f"pattern {pattern!r}: no field {{{name}}}; there are " + ", ".join(NAMES)
        )
    if not colon:
        return (name, "", 0)
    if not (width.isascii() and width.isdigit() and 1 <= int(width[:4]) <= 100):
        raise OperatorError(f"pattern {pattern!r}: the width of {{{inside}}} is not 1 to 100")
    if name == "checksum":
        raise OperatorError(f"pattern {pattern!r}: a checksum has two digits, give it no width")
    return (name, "", int(width))


def _refuse_unclear(pattern: str, tokens: list[Token]) -> None:
    """Every field must end where a person would say it ends."""
    names = [kind for kind, _, _ in tokens if kind not in (*_PLAIN, "skip")]
    if "value" not in names:
        raise OperatorError(f"pattern {pattern!r} has no {{value}}: say where the number stands")
    for name in set(names):
        if names.count(name) > 1:
            raise OperatorError(f"pattern {pattern!r} has {{{name}}} twice")
    for (kind, _, width), (after, _, _) in pairwise(tokens):
        if not width and _run_into(kind, after):
            raise OperatorError(
                f"pattern {pattern!r}: nothing tells where {{{kind}}} ends and {{{after}}} "
                "begins; put text or a width between them"
            )
    if "checksum" in names and not _has_checksum_frame(tokens):
        raise OperatorError(f"pattern {pattern!r}: write a checksum as $...*{{checksum}}")


def _has_checksum_frame(tokens: list[Token]) -> bool:
    at = [kind for kind, _, _ in tokens].index("checksum")
    before = tokens[at - 1] if at else ("", "", 0)
    return tokens[0][1][:1] in ("$", "!") and before[0] == "text" and before[1].endswith("*")


def scan(template: Template, line: str) -> Mapping[str, str] | None:
    """The text of every field in ``line``, or None if the line does not fit.

    The whole line must be used up. Takes time in proportion to the line.
    """
    found: dict[str, str] = {}
    at = 0
    for index, (kind, text, width) in enumerate(template.tokens):
        end = _end_of(template.tokens, index, line, at)
        if end < at or (end == at and kind not in ("blank", "skip")):
            return None
        if kind in NAMES and kind != "skip":
            found[kind] = line[at:end].strip() if width else line[at:end]
        if kind == "text" and line[at:end] != text:
            return None
        at = end
    return found if not line[at:].strip(" \t") else None


def _end_of(tokens: tuple[Token, ...], index: int, line: str, at: int) -> int:
    """Where the token ends in ``line``; -1 if it does not fit."""
    kind, text, width = tokens[index]
    if width:
        return at + width if at + width <= len(line) else -1
    if kind == "text":
        return at + len(text)
    if kind in ("blank", "gap"):
        return _run(line, at, " \t")
    if kind == "value":
        return scan_number(line, at)[1]
    if kind == "tag":
        return _run_of_tag(line, at)
    if kind == "skip":
        return _end_of_skip(tokens, index, line, at)
    if kind == "checksum":
        return at + 2
    return _run_of_word(line, at)


def _end_of_skip(tokens: tuple[Token, ...], index: int, line: str, at: int) -> int:
    if index + 1 == len(tokens):
        return len(line)
    return line.find(tokens[index + 1][1], at)


def _run(line: str, at: int, allowed: str) -> int:
    while at < len(line) and line[at] in allowed:
        at += 1
    return at


def _run_of_word(line: str, at: int) -> int:
    if line[at : at + 1] in ("'", '"'):
        return at + 1
    while at < len(line) and line[at].isascii() and line[at].isalpha():
        at += 1
    return at


def _run_of_tag(line: str, at: int) -> int:
    end = at
    while end < len(line) and line[end].isascii() and (line[end].isalnum() or line[end] in "-_"):
        end += 1
    return end if end - at <= LONGEST_TAG else -1
