"""A phrase book: what is called back in English, put into the words of another language.

The session's wording stays one; this turns it at the edge, sentence by sentence and, between
commas, part by part. What the book lacks stays in English. Figures are never touched: words that
would hold others, or the same in another order, are not used. Pure; the book comes as text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from callout.core.errors import OperatorError

_SENTENCES = re.compile(r"(?<=[.?!])\s+")
_ENDS = re.compile(r"[.?!]+$")
_FIGURES = re.compile(r"[0-9]+(?:\.[0-9]+)*")
_DECIMAL = re.compile(r"(?<![0-9.])([0-9]+)\.([0-9]+)(?![0-9]|\.[0-9])")
_SLOT = re.compile(r"\{([a-z]+)(\*?\+?)\}")
_ONE_PART = r"(?:(?!, ).)+?"
_LONGEST_RUN = 4
_SETTINGS = ("voice", "point")


@dataclass(frozen=True)
class Rule:
    """One line of the book: what the English looks like, and the words for it."""

    pattern: re.Pattern[str]
    words: str
    turned: frozenset[str]
    literal: int

    def fill(self, match: re.Match[str], phrases: Phrases) -> str:
        """The words, with what stood in the slots."""

        def slot(found: re.Match[str]) -> str:
            text = match.group(found.group(1))
            return phrases.part(text) if found.group(1) in self.turned else text

        return _SLOT.sub(slot, self.words)


@dataclass(frozen=True)
class Phrases:
    """Rules, the most literal first; ``voice`` speaks them, ``point`` is its decimal point."""

    rules: tuple[Rule, ...] = field(default=())
    voice: str = ""
    point: str = ""

    def shown(self, text: str) -> str:
        """``text`` in the language, as far as the book goes."""
        if not self.rules:
            return text
        turned = " ".join(self._sentence(one) for one in _SENTENCES.split(text.strip()))
        return turned if _FIGURES.findall(turned) == _FIGURES.findall(text) else text

    def spoken(self, text: str) -> str:
        """As ``shown``, decimals in words that the voice reads out: ``24 점 2 5``."""
        shown = self.shown(text)
        return _DECIMAL.sub(self._decimal, shown) if self.point else shown

    def part(self, text: str) -> str:
        """A sentence without its end mark, or parts of one: by the longest run that has a rule."""
        parts, turned = text.split(", "), []
        while parts:
            for length in _runs(len(parts)):
                found = self._by_rule(", ".join(parts[:length]))
                if found is not None:
                    break
            turned.append(parts[0] if found is None else found)
            parts = parts[length:]
        return ", ".join(turned)

    def _by_rule(self, text: str) -> str | None:
        for rule in self.rules:
            if match := rule.pattern.fullmatch(text):
                return rule.fill(match, self)
        return None

    def _sentence(self, text: str) -> str:
        end = _ENDS.search(text)
        mark = end.group() if end else ""
        return self.part(text.removesuffix(mark)) + mark

    def _decimal(self, found: re.Match[str]) -> str:
        whole, places = found.groups()
        return f"{whole} {self.point} {' '.join(places)}"


def read_phrases(text: str) -> Phrases:
    """The book of ``English => words`` lines, with ``voice: NAME`` and ``point: WORD``.

    ``{name}`` stands for anything within one part, ``{name+}`` for any number of parts. With a
    star, ``{name*}`` or ``{name*+}``, it is put into the language too. Raises OperatorError.
    """
    rules, settings = [], dict.fromkeys(_SETTINGS, "")
    for number, line in _lines(text):
        name, colon, value = line.partition(":")
        if colon and name.strip() in settings and "=>" not in line:
            settings[name.strip()] = value.strip()
        else:
            rules.append(_rule(number, line))
    ordered = tuple(sorted(rules, key=lambda rule: -rule.literal))
    return Phrases(ordered, **settings)


def _runs(most: int) -> list[int]:
    """All the parts, else a few: a warning may hold a comma, or start with everything before it."""
    return [most, *(length for length in range(_LONGEST_RUN, 0, -1) if length < most)]


def _lines(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line.strip()


def _rule(number: int, line: str) -> Rule:
    english, arrow, words = (part.strip() for part in line.partition("=>"))
    if not (english and arrow and words):
        raise OperatorError(f"phrase book line {number}: write English => words, not {line!r}")
    slots = _SLOT.findall(english)
    names = [name for name, _ in slots]
    if len(set(names)) < len(names) or sorted(names) != sorted(_names(words)):
        raise OperatorError(f"phrase book line {number}: the same slots on both sides, each once")
    pieces = _SLOT.split(english)
    pattern = re.escape(pieces[0]) + "".join(
        f"(?P<{name}>{'.+?' if '+' in kind else _ONE_PART}){re.escape(after)}"
        for name, kind, after in zip(pieces[1::3], pieces[2::3], pieces[3::3], strict=True)
    )
    return Rule(
        re.compile(pattern, re.IGNORECASE),
        words,
        frozenset(name for name, kind in slots if "*" in kind),
        sum(map(len, pieces[0::3])),
    )


def _names(words: str) -> list[str]:
    return [name for name, _ in _SLOT.findall(words)]
