"""A message to a person, as a value: a key and the figures that go with it.

The core decides what is meant; the edge that shows or speaks it finds the words in
``callout/wording``. Nothing parses the words: decisions are made on the key or on a figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeAlias

Figure: TypeAlias = "str | int | Decimal | Saying | tuple[Saying, ...]"
"""A text as it is (a tag, a name), a count, an exact number, or a nested saying."""


@dataclass(frozen=True)
class Saying:
    """One message: ``key`` names the words, ``figures`` fill their slots, by name."""

    key: str
    figures: tuple[tuple[str, Figure], ...] = ()

    def __getitem__(self, name: str) -> Figure:
        """The figure of that name. Raises KeyError."""
        return dict(self.figures)[name]

    def __str__(self) -> str:
        """For tracebacks and our own logs; never shown to the user."""
        told = ", ".join(f"{name}={figure}" for name, figure in self.figures)
        return f"{self.key}({told})"

    def as_json(self) -> dict[str, Any]:
        """Plain values for JSON; an exact number is ``{"number": "24.60"}``."""
        told: dict[str, Any] = {"key": self.key}
        if self.figures:
            told["figures"] = {name: _plain(figure) for name, figure in self.figures}
        return told


Says: TypeAlias = tuple[Saying, ...]
"""Messages told one after another, one sentence each."""


def saying(key: str, /, **figures: Figure) -> Saying:
    """Make a saying; callers write the key as a literal, so that a test can find it."""
    return Saying(key, tuple(figures.items()))


def as_is(text: str) -> Saying:
    """A text from outside, in any language, shown and spoken unchanged."""
    return saying("as-is", text=text)


def saying_from(told: Any) -> Saying:
    """The saying that ``as_json`` wrote; a plain text, as older journals hold, is kept as it is.

    Raises ValueError for anything else.
    """
    if isinstance(told, str):
        return as_is(told)
    if not isinstance(told, Mapping) or not isinstance(told.get("key"), str):
        raise ValueError(f"no saying: {told!r}")
    figures = told.get("figures", {})
    return Saying(told["key"], tuple((str(name), _figure(one)) for name, one in figures.items()))


def _plain(figure: Figure) -> Any:
    if isinstance(figure, Saying):
        return figure.as_json()
    if isinstance(figure, tuple):
        return [one.as_json() for one in figure]
    return {"number": f"{figure:f}"} if isinstance(figure, Decimal) else figure


def _figure(told: Any) -> Figure:
    if isinstance(told, str) or (isinstance(told, int) and not isinstance(told, bool)):
        return told
    if isinstance(told, list):
        return tuple(saying_from(one) for one in told)
    if isinstance(told, Mapping) and "number" in told:
        return Decimal(str(told["number"]))
    return saying_from(told)
