"""What was saved on this visit, by plot, tree and stem: immutable, and cheap to change.

A changed value shares every other plot with the old one, and while one plot is worked in the list
of plots too, so that no event takes longer because much was saved elsewhere. Pure; no wording here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from callout.core.model import Reading

_Own = TypeVar("_Own")

Key = tuple[str, str, str]
"""Plot, tag, and the stem's number ('' for a tree of one stem)."""
Stems = Mapping[str, Reading]

_NO_STEMS: Stems = {}


def key_of(reading: Reading) -> Key:
    """The key of a reading: plot, tag and stem."""
    return (reading.plot, reading.tag, reading.stem)


@dataclass(frozen=True)
class _OfPlot:
    """One plot: the stems of each tree, and the tree on which each new tag hangs."""

    trees: Mapping[str, Stems] = field(default_factory=dict)
    new_tags: Mapping[str, str] = field(default_factory=dict)


class _ByPlot(Mapping[str, _Own], Generic[_Own]):
    """One value for each plot. The plot changed last is kept apart: the others need no copy."""

    def __init__(self, plots: Mapping[str, _Own] | None = None) -> None:
        self._plots: Mapping[str, _Own] = plots or {}
        self._last: dict[str, _Own] = {}

    def __getitem__(self, plot: str) -> _Own:
        return self._last[plot] if plot in self._last else self._plots[plot]

    def __contains__(self, plot: object) -> bool:
        return plot in self._last or plot in self._plots

    def __iter__(self) -> Iterator[str]:
        return iter(self._whole())

    def __len__(self) -> int:
        return len(self._whole())

    def __reduce__(self) -> tuple[type[_ByPlot[_Own]], tuple[dict[str, _Own]]]:
        return _ByPlot, (self._whole(),)  # what ``_plots`` still holds of the last is out of date

    def _whole(self) -> dict[str, _Own]:
        return {**self._plots, **self._last}

    def having(self, plot: str, own: _Own) -> _ByPlot[_Own]:
        """A copy with ``own`` as the plot's."""
        made = _ByPlot(self._plots if plot in self._last else self._whole())
        made._last = {plot: own}
        return made


class Saved(Mapping[Key, Reading]):
    """The current reading of every stem."""

    def __init__(self, plots: _ByPlot[_OfPlot] | None = None) -> None:
        self._plots = _ByPlot[_OfPlot]() if plots is None else plots

    def __getitem__(self, key: Key) -> Reading:
        plot, tag, stem = key
        return self.trees(plot)[tag][stem]

    def __iter__(self) -> Iterator[Key]:
        for plot, own in self._plots.items():
            for tag, stems in own.trees.items():
                yield from ((plot, tag, stem) for stem in stems)

    def __len__(self) -> int:
        return sum(len(stems) for own in self._plots.values() for stems in own.trees.values())

    def __repr__(self) -> str:
        return f"Saved({dict(self)!r})"

    @property
    def plots(self) -> Iterable[str]:
        """The plots in which something was saved."""
        return self._plots

    def trees(self, plot: str) -> Mapping[str, Stems]:
        """The plot's trees that have a reading, each with its stems."""
        return self._plots[plot].trees if plot in self._plots else {}

    def stems(self, plot: str, tag: str) -> Stems:
        """The stems of one tree that have a reading."""
        return self.trees(plot).get(tag, _NO_STEMS)

    def new_tags(self, plot: str) -> Mapping[str, str]:
        """The tags put on in place of lost ones, with the roster's tag of their tree."""
        return self._plots[plot].new_tags if plot in self._plots else {}

    def having(self, reading: Reading) -> Saved:
        """A copy with ``reading`` as the current one of its stem."""
        stems = {**self.stems(reading.plot, reading.tag), reading.stem: reading}
        return self._with(reading.plot, reading.tag, stems)

    def lacking(self, key: Key) -> Saved:
        """A copy without the current reading of that stem."""
        plot, tag, stem = key
        left = {name: item for name, item in self.stems(plot, tag).items() if name != stem}
        return self._with(plot, tag, left)

    def _with(self, plot: str, tag: str, stems: Stems) -> Saved:
        trees = {**self.trees(plot), tag: stems}
        if not stems:
            del trees[tag]
        hanging = {new: tree for new, tree in self.new_tags(plot).items() if tree != tag}
        hanging.update({item.new_tag: tag for item in stems.values() if item.new_tag})
        return Saved(self._plots.having(plot, _OfPlot(trees, hanging)))


class Done(Mapping[str, tuple[Reading, ...]]):
    """By plot, what undo may take back, latest last.

    ``kept`` are plots of before, each looked up only when it is asked for; ``lasts`` the number of
    each one's latest.
    """

    def __init__(
        self,
        kept: Mapping[str, tuple[Reading, ...]] | None = None,
        lasts: Mapping[str, int] | None = None,
        changed: _ByPlot[tuple[Reading, ...]] | None = None,
    ) -> None:
        self._kept, self._lasts = kept or {}, lasts or {}
        self._changed = _ByPlot[tuple[Reading, ...]]() if changed is None else changed

    def __getitem__(self, plot: str) -> tuple[Reading, ...]:
        return self._changed[plot] if plot in self._changed else self._kept[plot]

    def __iter__(self) -> Iterator[str]:
        return iter({**dict.fromkeys(self._lasts), **self._changed})

    def __len__(self) -> int:
        return len({**self._lasts, **self._changed})

    def __repr__(self) -> str:
        return f"Done({dict(self)!r})"

    def last(self, plot: str) -> int:
        """The number of the plot's latest; 0 for none."""
        if plot not in self._changed:
            return self._lasts.get(plot, 0)
        own = self._changed[plot]
        return own[-1].entry if own else 0

    def as_kept(self, plot: str) -> bool:
        """Whether the plot's are still those of before."""
        return plot in self._lasts and plot not in self._changed

    def having(self, plot: str, own: tuple[Reading, ...]) -> Done:
        """With ``own`` as the plot's."""
        return Done(self._kept, self._lasts, self._changed.having(plot, own))
