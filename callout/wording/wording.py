"""Puts sayings into the words of a language, in the length that the listener wants.

A language is one Fluent file. A message is the words in full; its attribute ``.brief`` is for a
listener who wants few words, ``.shown`` for a screen, ``.full`` for the voice, each only if it
differs. What a language
lacks is told in English. Figures are inserted unchanged; a voice that cannot read "24.6" gets its
point as a word (``its-point``, beside ``its-voice``). ``files`` finds the texts.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from enum import Enum
from typing import Any

from fluent.runtime import FluentBundle, FluentResource
from fluent.runtime.types import fluent_number

from callout.core.saying import Figure, Saying

_DECIMAL = re.compile(r"(?<![0-9.])([0-9]+)\.([0-9]+)(?![0-9]|\.[0-9])")
_ENTRY = re.compile(r"^(-?[A-Za-z][\w-]*) *=.*(?:\n(?![-A-Za-z#]).*)*", re.MULTILINE)
_REFERENCE = re.compile(r"[{(,]\s*(-?[A-Za-z][\w-]*)")
_SPACES = re.compile(" {2,}")  # if one of several slots is empty
_ENDS = (".", "?", "!")


class Length(Enum):
    """How much is told."""

    SHOWN = "shown"
    FULL = "full"
    BRIEF = "brief"


class Wording:
    """One language. ``also`` is the wording for what it lacks."""

    def __init__(self, code: str, text: str, also: Wording | None = None) -> None:
        self.code = code
        self._also = also
        self._bundle = FluentBundle([code], use_isolating=False)
        # Reading all of it takes longer than a short command, which tells a few things.
        self._unread = {found[1]: found[0] for found in reversed([*_ENTRY.finditer(text)])}
        self.voice = self._setting("its-voice")
        self._point = self._setting("its-point")

    def shown(self, *says: Saying) -> str:
        """For a screen, one sentence each."""
        return self._sentences(says, Length.SHOWN)

    def spoken(self, *says: Saying, length: Length = Length.FULL) -> str:
        """For the voice, one sentence each."""
        told = self._sentences(says, length)
        return _DECIMAL.sub(self._decimal, told) if self._point else told

    def part(self, one: Saying, length: Length = Length.SHOWN) -> str:
        """Words that are not a sentence: a warning on the screen, a name."""
        figures = {name: self._figure(figure, length) for name, figure in one.figures}
        told = self._filled(one.key, length, figures)
        return str(one) if told is None else told

    def knows(self, key: str) -> bool:
        """Whether this language has its own words for it."""
        self._read(key)
        return bool(self._bundle.has_message(key))

    def _read(self, key: str) -> None:
        """Take the entry into the bundle, and those that it refers to."""
        entry = self._unread.get(key)
        if entry is None:
            return
        self._bundle.add_resource(FluentResource(entry))
        self._unread.pop(key, None)  # not before: another thread may ask for it meanwhile
        for other in _REFERENCE.findall(entry):
            self._read(other)

    def _sentences(self, says: Iterable[Saying], length: Length) -> str:
        told = (_sentence(self.part(one, length)) for one in says)
        return " ".join(one for one in told if one)

    def _filled(self, key: str, length: Length, figures: dict[str, Any]) -> str | None:
        if self.knows(key):
            message = self._bundle.get_message(key)
            pattern = message.attributes.get(length.value, message.value)
            told, errors = self._bundle.format_pattern(pattern, figures) if pattern else ("", [key])
            if not errors:
                return _SPACES.sub(" ", str(told)).strip()
        return self._also._filled(key, length, figures) if self._also is not None else None

    def _figure(self, figure: Figure, length: Length) -> Any:
        if isinstance(figure, Saying):
            return self.part(figure, length)
        if isinstance(figure, tuple):
            return ", ".join(self.part(one, length) for one in figure)
        if isinstance(figure, int):
            return fluent_number(figure, useGrouping=False)  # words may depend on the count
        return f"{figure:f}" if isinstance(figure, Decimal) else figure

    def _decimal(self, found: re.Match[str]) -> str:
        whole, places = found.groups()
        return f"{whole} {self._point} {' '.join(places)}"

    def _setting(self, key: str) -> str:
        return self.part(Saying(key)) if self.knows(key) else ""


def _sentence(told: str) -> str:
    """With a capital and a full stop, if it lacks them."""
    if not told:
        return ""
    return told[:1].upper() + told[1:] + ("" if told.endswith(_ENDS) else ".")
