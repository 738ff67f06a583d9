"""Lost and replaced tags: which tag identifies a tree, and what hangs there now.

A tree is always known by the roster's tag; what was called by a new tag is mapped back to it. Pure;
no wording here.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from callout.core.meaning import Meaning
from callout.core.model import Plot, Reading
from callout.session.state import Memory


@dataclass(frozen=True)
class KnownTags(Collection[str]):
    """Tags looked up one at a time, so that the size of a plot does not matter to an event."""

    memory: Memory
    plot: Plot

    def __contains__(self, tag: object) -> bool:
        here, saved = self.plot.settings.plot, self.memory.saved
        return tag in self.plot.trees or tag in saved.trees(here) or tag in saved.new_tags(here)

    def __iter__(self) -> Iterator[str]:
        here, saved = self.plot.settings.plot, self.memory.saved
        return iter({**self.plot.trees, **saved.trees(here), **saved.new_tags(here)})

    def __len__(self) -> int:
        return sum(1 for _ in self)


def known_tags(memory: Memory, plot: Plot) -> KnownTags:
    """Tags of the roster, of trees found on this visit, and those that replaced lost ones."""
    return KnownTags(memory, plot)


def tags_on_hold(memory: Memory, plot: Plot) -> set[str]:
    """New tags that were reported but are not yet in a reading."""
    return {new for (where, _), new in memory.lost_tags.items() if where == plot.settings.plot}


def by_roster_tag(memory: Memory, plot: Plot, meaning: Meaning) -> Meaning:
    """``meaning`` with the roster's tag of the tree, if it was called by its new one."""
    if meaning.tag is None or meaning.tag in plot.trees or meaning.kind == "new":
        return meaning
    here = plot.settings.plot
    on_hold = {new: tag for (where, tag), new in memory.lost_tags.items() if where == here}
    tag = on_hold.get(meaning.tag) or memory.saved.new_tags(here).get(meaning.tag)
    return meaning if tag is None else replace(meaning, tag=tag)


def lost_and_new(memory: Memory, plot: str, tag: str) -> tuple[bool, str]:
    """Whether the tree's tag is lost, and its new tag: as reported last, or as saved."""
    if (plot, tag) in memory.lost_tags:
        return True, memory.lost_tags[plot, tag]
    for item in memory.saved.stems(plot, tag).values():
        if item.tag_lost:
            return True, item.new_tag
    return False, ""


def tag_shown(memory: Memory, plot: str, tag: str) -> str:
    """The tag that hangs on the tree, if known from a reading."""
    return lost_and_new(memory, plot, tag)[1] or tag


def held(memory: Memory, plot: str, tag: str, new: str) -> Memory:
    """Keep what was said of a lost tag for the tree's next reading."""
    return replace(memory, lost_tags={**memory.lost_tags, (plot, tag): new})


def let_go(memory: Memory, plot: str, tag: str) -> Memory:
    """Forget it: a reading has it, or it was taken back."""
    if (plot, tag) not in memory.lost_tags:
        return memory
    kept = {key: new for key, new in memory.lost_tags.items() if key != (plot, tag)}
    return replace(memory, lost_tags=kept)


def last_reading(memory: Memory, plot: str, tag: str) -> Reading | None:
    """This visit's latest current reading of the tree."""
    stems = memory.saved.stems(plot, tag).values()
    return max(stems, key=lambda item: item.entry, default=None)
