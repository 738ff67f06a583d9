"""The line being typed, as a value: its text and the cursor position. No keys here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from callout.station.face import MOST_TYPED


@dataclass(frozen=True)
class TypedLine:
    """``at`` is from 0 to the text's length.

    At most one character more than may be sent is kept: a line that is too long stays so, and is
    refused whole.
    """

    text: str = ""
    at: int = 0

    @property
    def too_long(self) -> bool:
        """Whether more was typed than may be sent."""
        return len(self.text) > MOST_TYPED

    def put(self, more: str) -> TypedLine:
        """The line with ``more`` inserted; what exceeds the longest line is dropped."""
        text = (self.text[: self.at] + more + self.text[self.at :])[: MOST_TYPED + 1]
        return TypedLine(text, min(self.at + len(more), len(text)))

    def without_last(self) -> TypedLine:
        """The line without the character before ``at``."""
        before = max(0, self.at - 1)
        return TypedLine(self.text[:before] + self.text[self.at :], before)

    def without_next(self) -> TypedLine:
        """The line without the character at ``at``."""
        return replace(self, text=self.text[: self.at] + self.text[self.at + 1 :])

    def moved(self, to: int) -> TypedLine:
        """The line with the cursor at ``to``, or as near as the text goes."""
        return replace(self, at=max(0, min(to, len(self.text))))
