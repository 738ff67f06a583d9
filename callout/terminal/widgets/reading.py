"""The reading in very large type: the tag and its size, as large as the space allows.

Chooses sizes; shapes are in `blocks`. A line of ordinary text above always says the same. A word
that no font has, as in other scripts, stands in ordinary text beside the large figures.
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.cells import cell_len
from textual.content import Content
from textual.geometry import Size
from textual.widget import Widget

from callout.core.saying import saying
from callout.core.statuses import Status
from callout.core.told import status_told
from callout.station.face import Phase, View
from callout.terminal import labels
from callout.terminal.blocks import SMALL, TALL, Font, Scale, draw, drawable
from callout.terminal.plain import plain
from callout.terminal.themes import PAIRS
from callout.wording.wording import Wording

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


def shown_of(view: View, wording: Wording) -> Shown:
    """The part of ``view`` to show in the very large type."""
    told, tag = wording.part, plain(view.tag, 16)
    saved = labels.just_saved(view)
    if saved is not None:
        tag, size = plain(saved.tag, 16), plain(saved.told, 24)
        measured = f"{size} {plain(saved.unit, 8)}".strip()
        return Shown(told(saying("large-saved", tag=tag, size=measured)), tag, size)
    if labels.at_rest(view) and view.next_tag:
        tag = plain(view.next_tag, 16)
        return Shown(told(saying("large-next", tag=tag)), tag)
    if tag:
        size = told(labels.size(view))
        parts = [told(saying("large-tree", tag=tag)), size]
        if view.value:
            parts[1] += f" {plain(view.unit, 8)}"
            if view.status not in ("", Status.LIVE):
                parts.append(told(status_told(plain(view.status, 24))))
        species = f"   {plain(view.species, 40)}" if view.species else ""
        return Shown(", ".join(filter(None, parts)) + species, tag, size or "?")
    if view.tone == "ask":
        return Shown(size="?")
    if view.tone == "refused":
        return Shown(size=told(saying("large-refused")))
    if view.phase is Phase.STARTING or view.paused:
        return Shown()
    ready = "" if view.faults else told(saying("large-ready"))
    return Shown(told(saying("large-hint", unit=labels.unit_name(view))), size=ready)


def laid_out(shown: Shown, room: Size) -> list[str]:
    """The lines to paint in ``room``: the largest type that fits, else ordinary text."""
    for value_font, tag_font, scale in _PLANS:
        parts = [(shown.tag, tag_font), (shown.size, value_font)]
        blocks = [_block(text, font, scale) for text, font in parts if text]
        lines = _beside([block for block in blocks if block], RULE)
        fits = len(lines) <= room.height and all(cell_len(line) <= room.width for line in lines)
        if all(blocks) and fits:
            return lines
    return [f"{shown.tag}   {shown.size}".strip()]


def _block(text: str, font: Font, scale: Scale) -> list[str]:
    """``text`` in large type, words in no font as they are; [] if another font has its words."""
    if drawable(text, font):
        return draw(text, font, scale)
    words = text.split(" ")
    if any(drawable(word, SMALL) and not drawable(word, font) for word in words):
        return []
    return _beside(
        [draw(word, font, scale) if drawable(word, font) else [word] for word in words], "  "
    )


def _beside(blocks: list[list[str]], between: str) -> list[str]:
    """Blocks side by side, standing on one line."""
    tall = max(map(len, blocks), default=0)
    padded = [[" " * cell_len(block[0])] * (tall - len(block)) + block for block in blocks]
    return [between.join(row) for row in zip(*padded, strict=True)]


class Reading(Widget):
    """The large type. Takes all rows that the other parts leave."""

    def __init__(self, wording: Wording, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._wording = wording
        self._shown = Shown()

    def show(self, view: View) -> None:
        """Paint the tree and the size of ``view``."""
        shown = shown_of(view, self._wording)
        tone = labels.tone(view)
        for name in PAIRS:
            self.set_class(name == tone, name)
        if shown != self._shown:
            self._shown = shown
            self.refresh()

    def render(self) -> Content:
        """The label, then the block letters."""
        label = self._shown.label
        head = Content(label).get_height({}, self.size.width) if label else 0
        lines = laid_out(self._shown, Size(self.size.width, self.size.height - head))
        above = (max(0, self.size.height - head - len(lines))) // 2
        body = "\n".join([""] * above + lines)
        return Content.assemble((label + "\n" if label else "", "bold"), (body, "bold"))
