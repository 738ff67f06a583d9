"""What would be made of a table, shown before anything is made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from callout.core.counted import counted
from callout.core.model import Tree
from callout.survey.sheets import Sheet

_SHOWN = 5


def preview(sheet: Sheet, trees: Sequence[Tree]) -> None:
    """Print how the file was read, and the first trees as they would stand in the roster."""
    print(sheet.told)
    past = [item for tree in trees for item in tree.past]
    units = Counter(item.unit.value for item in past)
    years = sorted({item.on.year for item in past})
    measured = ", ".join(f"{count} in {unit}" for unit, count in sorted(units.items()))
    when = f", {years[0]} to {years[-1]}" if years else ""
    plots = len({tree.plot for tree in trees})
    print(
        f"would be made: {counted(len(trees), 'tree')} in {counted(plots, 'plot')}, "
        f"{counted(len(past), 'earlier size')}{f' ({measured}{when})' if past else ''}"
    )
    for tree in trees[:_SHOWN]:
        sizes = ", ".join(f"{item.on} {item.value} {item.unit.value}" for item in tree.past)
        more = ", ".join(f"{name} {text}" for name, text in tree.extra.items())
        print(
            f"  {tree.plot} {tree.tag} {tree.species}: {sizes or 'no earlier size'}"
            f"{f'; {more}' if more else ''}"
        )
    if len(trees) > _SHOWN:
        print(f"  and {len(trees) - _SHOWN:,} more, in the order of the table")
    print("nothing was made: leave out --preview to make it")
