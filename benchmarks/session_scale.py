"""How long one event takes in the session, by how many trees were saved before it.

A pure session in plots of 200 trees each (invented): a tree is called, echoed and confirmed, over
and over. Prints the median time of a callout and of a confirmation, in microseconds, after 200 and
after the last saved trees, and their ratio. No disk, no sound.

Run: python benchmarks/session_scale.py [TREES]
"""

from __future__ import annotations

import sys
import time
from decimal import Decimal
from statistics import median

from callout.core.checking.checks import Rules
from callout.core.events import Event, Heard, Opened
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Tree
from callout.session.machine import step
from callout.session.state import Memory, Survey

AT = "2026-06-02T09:15:00+02:00"
IN_A_PLOT, COUNTED = 200, 200


def survey(trees: int) -> Survey:
    """Plots of ``IN_A_PLOT`` trees, ``trees`` in all."""
    plots = {}
    for number in range(-(-trees // IN_A_PLOT)):
        name = f"P{number}"
        standing = {str(tag): Tree(name, str(tag), "beech") for tag in range(1, IN_A_PLOT + 1)}
        plots[name] = Plot(PlotSettings(name), standing)
    return Survey(plots, dict.fromkeys(plots, Rules()))


def timed(trees: int) -> list[tuple[float, float]]:
    """Microseconds of each callout and its confirmation."""
    about, memory, entry = survey(trees), Memory(), 0
    took: list[tuple[float, float]] = []

    def feed(event: Event) -> float:
        nonlocal memory
        began = time.perf_counter()
        memory, _ = step(about, memory, event)
        return (time.perf_counter() - began) * 1e6

    for name, plot in about.plots.items():
        feed(Opened(entry := entry + 1, AT, name, "R.V."))
        for tag in plot.trees:
            size = Meaning("reading", tag, Decimal(entry % 300 + 100) / 10)
            called = feed(Heard(entry := entry + 1, AT, "typed", tag, (size,)))
            saved = feed(Heard(entry := entry + 1, AT, "typed", "accept", (Meaning("accept"),)))
            took.append((called, saved))
    return took


def main() -> None:
    """Print the figures."""
    took = timed(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
    for at, what in enumerate(("a callout", "a confirmation")):
        early = median(item[at] for item in took[:COUNTED])
        late = median(item[at] for item in took[-COUNTED:])
        print(
            f"{what}: {early:.0f} us at first, {late:.0f} us after {len(took)} saved trees, ",
            end="",
        )
        print(f"{late / early:.1f} times as long")


if __name__ == "__main__":
    main()
