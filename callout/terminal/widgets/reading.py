"""The reading in very large type: the tag and its size, as large as the space allows.

Chooses sizes; shapes are in `blocks`. A line of ordinary text above always says the same.
"""

from __future__ import annotations

from dataclasses import dataclass

from textual.content import Content
from textual.geometry import Size
from textual.widget import Widget

from callout.core.statuses import Status, in_words
from callout.station.face import STARTING, View
from callout.terminal import labels
from callout.terminal.blocks import SMALL, TALL, Font, Scale, draw, drawable, height, width
from callout.terminal.plain import plain
from callout.terminal.themes import PAIRS

RULE = "   │   "
# Fonts of the size and of the tag, best first: a tag misread is as bad as a size misread.
_PLANS = (
    *((TALL, TALL, Scale(pixel, pixel)) for pixel in (6, 5, 4, 3)),
    (TALL, SMALL, Scale(4, 4)),
    (TALL, SMALL, Scale(3, 3)),
    (TALL, TALL, Scale(2, 2)),
    (TALL, SMALL, Scale(2, 2)),
    (SMALL, SMALL, Scale(3, 3)),
    (SMALL, SMALL, Scale(2, 2)),
    (SMALL, SMALL, Scale(1, 2)),
)


@dataclass(frozen=True)
class Shown:
    """What is shown large: ``tag`` on the left, ``size`` on the right, ``label`` above."""

    label: str = ""
    tag: str = ""
    size: str = ""


def shown_of(view: View) -> Shown:
    """The part of ``view`` to show in the very large type."""
    saved = labels.just_saved(view)
    if saved is not None:
        told = plain(saved.told, 24)
        label = f"Saved: tree {plain(saved.tag, 16)}, {told} {plain(saved.unit, 8)}"
        return Shown(label, plain(saved.tag, 16), told)
    if labels.at_rest(view) and view.next_tag:
        return Shown(f"Next: tree {plain(view.next_tag, 16)}", plain(view.next_tag, 16))
    if view.tag:
        size = labels.size(view)
        unit = f" {plain(view.unit, 8)}" if view.value else ""
        status = plain(in_words(view.status), 24) if view.value else ""
        label = f"Tree {plain(view.tag, 16)}" + (f", {size}{unit}" if size else "")
        label += f", {status}" if status not in ("", Status.LIVE) else ""
        label += f"   {plain(view.species, 40)}" if view.species else ""
        return Shown(label, plain(view.tag, 16), size or "?")
    if view.tone == "ask":
        return Shown(size="?")
    if view.tone == "refused":
        return Shown(size="NO")
    if view.phase == STARTING or view.paused:
        return Shown()
    return Shown(_hint(view), size="" if view.faults else "READY")


def laid_out(shown: Shown, room: Size) -> list[str]:
    """The lines to paint in ``room``: the largest type that fits, else ordinary text."""
    for value_font, tag_font, scale in _PLANS:
        lines = _drawn(shown, value_font, tag_font, scale, room)
        if lines is not None:
            return lines
    return [f"{shown.tag}   {shown.size}".strip()]


def _drawn(
    shown: Shown, value_font: Font, tag_font: Font, scale: Scale, room: Size
) -> list[str] | None:
    fonts = [(shown.tag, tag_font), (shown.size, value_font)]
    parts = [(text, font) for text, font in fonts if text]
    if not parts or not all(drawable(text, font) for text, font in parts):
        return None
    wide = sum(width(text, font, scale) for text, font in parts) + len(RULE) * (len(parts) - 1)
    tall = max(height(font, scale) for _, font in parts)
    if wide > room.width or tall > room.height:
        return None
    blocks = [draw(text, font, scale) for text, font in parts]
    padded = [[" " * len(block[0])] * (tall - len(block)) + block for block in blocks]
    return [RULE.join(row) for row in zip(*padded, strict=True)]


class Reading(Widget):
    """The large type. Takes all rows that the other parts leave."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._shown = Shown()

    def show(self, view: View) -> None:
        """Paint the tree and the size of ``view``."""
        shown = shown_of(view)
        tone = labels.tone(view)
        for name in PAIRS:
            self.set_class(name == tone, name)
        if shown != self._shown:
            self._shown = shown
            self.refresh()

    def render(self) -> Content:
        """The label, then the block letters."""
        label = self._shown.label
        head = 1 if label else 0
        lines = laid_out(self._shown, Size(self.size.width, self.size.height - head))
        above = (max(0, self.size.height - head - len(lines))) // 2
        body = "\n".join([""] * above + lines)
        return Content.assemble((label + "\n" if label else "", "bold"), (body, "bold"))


def _hint(view: View) -> str:
    unit = f" in {labels.unit_name(view)}" if view.unit else ""
    return f"Say or type a tree and its diameter{unit}, like: tree 83 24.6"
