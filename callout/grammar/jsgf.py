"""Reads JSpeech Grammar Format 1.0 text into a tree of expansions.

Covers what the standard's grammars use: rules, alternatives with weights, groups, optional
parts, ``*`` and ``+``, quoted tokens, tags and the special rules ``<NULL>`` and ``<VOID>``.
Imports are not followed. Nothing here knows what a callout is; meaning lies in the tags.

Source: JSpeech Grammar Format, W3C Note 5 June 2000.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from callout.core.errors import OperatorError


@dataclass(frozen=True)
class Token:
    """One word as spoken or written."""

    word: str


@dataclass(frozen=True)
class RuleRef:
    """A reference to another rule by its name, without the angle brackets."""

    name: str


@dataclass(frozen=True)
class Sequence:
    """Parts said one after another; an empty sequence is ``<NULL>``."""

    parts: tuple[Expansion, ...]


@dataclass(frozen=True)
class Choice:
    """Exactly one of the options; no option at all is ``<VOID>``."""

    options: tuple[Expansion, ...]


@dataclass(frozen=True)
class Repeat:
    """``part`` zero or more times, or at least once."""

    part: Expansion
    at_least_once: bool


@dataclass(frozen=True)
class Tag:
    """What the words before it mean: the text between braces."""

    text: str


Expansion = Token | RuleRef | Sequence | Choice | Repeat | Tag
NULL = Sequence(())
VOID = Choice(())


@dataclass(frozen=True)
class Grammar:
    """A grammar's rules by name; ``public`` names those that may start an utterance."""

    name: str
    rules: Mapping[str, Expansion]
    public: tuple[str, ...] = field(default=())


_HEADER = re.compile(r"\s*#JSGF\s+V1\.0[^;\n]*;")
_COMMENT = re.compile(r"/\*.*?\*/|//[^\n]*", re.DOTALL)
_LEXEME = re.compile(
    r"""\s*(?:(?P<rule><[^<>\s]+>)|(?P<quoted>"(?:[^"\\]|\\.)*"|'"')
    |(?P<tag>\{(?:[^{}\\]|\\.)*\})|(?P<weight>/[0-9.]+/)|(?P<mark>[=|;()\[\]*+])
    |(?P<word>[^\s=|;()\[\]*+<>{}"/]+))""",
    re.VERBOSE,
)


def parse_jsgf(text: str) -> Grammar:
    """The grammar written in ``text``. Raises OperatorError naming the place of a mistake."""
    header = _HEADER.match(text)
    if header is None:
        raise OperatorError("a JSGF file begins with a line such as '#JSGF V1.0 UTF-8 en;'")
    body = _COMMENT.sub(_blank, text[header.end() :])
    return _Reader(_lexemes(body)).grammar()


def _blank(match: re.Match[str]) -> str:
    return re.sub(r"[^\n]", " ", match.group())


def _lexemes(body: str) -> list[tuple[str, str]]:
    found, at = [], 0
    body = body.rstrip()
    while at < len(body):
        match = _LEXEME.match(body, at)
        if match is None:
            line = body.count("\n", 0, at) + 1
            raise OperatorError(f"grammar: cannot read {body[at : at + 20]!r} near line {line}")
        found.append((str(match.lastgroup), match.group(str(match.lastgroup))))
        at = match.end()
    return found


class _Reader:
    """Recursive descent over lexemes; one method a level of the standard's grammar."""

    def __init__(self, lexemes: list[tuple[str, str]]) -> None:
        self._lexemes = lexemes
        self._at = 0

    def grammar(self) -> Grammar:
        self._expect("word", "grammar")
        name = self._take()[1]
        self._expect("mark", ";")
        rules: dict[str, Expansion] = {}
        public: list[str] = []
        while self._at < len(self._lexemes):
            if self._peek() == ("word", "public"):
                self._take()
                public.append(self._peek()[1].strip("<>"))
            kind, text = self._take()
            if kind != "rule":
                raise OperatorError(f"grammar: expected a rule such as <size>, found {text!r}")
            self._expect("mark", "=")
            if text.strip("<>") in rules:
                raise OperatorError(f"grammar: rule {text} is defined twice")
            rules[text.strip("<>")] = self._choice()
            self._expect("mark", ";")
        return Grammar(name, rules, tuple(public))

    def _choice(self) -> Expansion:
        options = [self._sequence()]
        while self._peek() == ("mark", "|"):
            self._take()
            options.append(self._sequence())
        return options[0] if len(options) == 1 else Choice(tuple(options))

    def _sequence(self) -> Expansion:
        parts: list[Expansion] = []
        while self._peek()[0] != "end" and self._peek()[1] not in ("|", ";", ")", "]"):
            if self._peek()[0] == "weight":
                self._take()  # weights do not change what may be said
                continue
            parts.append(self._item())
        return parts[0] if len(parts) == 1 else Sequence(tuple(parts))

    def _item(self) -> Expansion:
        kind, text = self._take()
        part: Expansion
        if kind == "tag":
            return Tag(text[1:-1].strip())
        if kind == "rule":
            special: dict[str, Expansion] = {"<NULL>": NULL, "<VOID>": VOID}
            part = special.get(text, RuleRef(text.strip("<>")))
        elif kind == "quoted":
            part = Token(text[1:-1].replace('\\"', '"'))
        elif kind == "word":
            part = Token(text)
        elif text == "(":
            part = self._choice()
            self._expect("mark", ")")
        elif text == "[":
            part = Choice((self._choice(), NULL))
            self._expect("mark", "]")
        else:
            raise OperatorError(f"grammar: {text!r} is out of place")
        if self._peek() in (("mark", "*"), ("mark", "+")):
            return Repeat(part, at_least_once=self._take()[1] == "+")
        return part

    def _peek(self) -> tuple[str, str]:
        return self._lexemes[self._at] if self._at < len(self._lexemes) else ("end", "")

    def _take(self) -> tuple[str, str]:
        if self._at >= len(self._lexemes):
            raise OperatorError("grammar: the file ends in the middle of a rule")
        self._at += 1
        return self._lexemes[self._at - 1]

    def _expect(self, kind: str, text: str) -> None:
        found = self._take()
        if found != (kind, text):
            raise OperatorError(f"grammar: expected {text!r}, found {found[1]!r}")
