"""What the checks stop of a careless person's slips, and how many good readings they question.

    python benchmarks/checks.py [--plots 12] [--quick]

A person walks invented plots (invented_plots.py) and says yes to every echo; only a warning, which
takes another word, stops them. Every tree is called rightly; one in three is called wrongly
before, once for every kind of slip. One line a kind: the share that a warning stopped, for slow,
usual and fast growth (0.5, 1 and 3 mm a year), yearly and five-yearly visits. False alarms are
good readings with any warning, of all good readings. All goes through the session; no sound.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from itertools import pairwise

from invented_plots import GROWTH_MM, Design, Stand, make_stand

from callout.core.checking.checks import Rules
from callout.core.events import Event, Heard, Opened
from callout.core.meaning import Meaning
from callout.core.units import Scale, Unit
from callout.session.machine import step
from callout.session.state import Memory, Survey

TENTH, PI, INCH = Decimal("0.1"), Decimal(math.pi), Decimal("2.54")
EVERY = (1, 5)
SHOWN = (
    "neighbour's tag, not yet measured",
    "neighbour's tag, measured today",
    "neighbour's value",
    "swapped digits",
    "lost point",
    "ten times",
    "wrong unit",
    "girth for diameter",
)
UNSHOWN = ("one whole unit off", "last time's value repeated")
"""Of these a history shows only what growth and the tape's error are smaller than."""


@dataclass
class Tally:
    """Of one design: good readings and those questioned; slips by kind, and those stopped."""

    good: int = 0
    questioned: Counter[str] = field(default_factory=Counter)
    slips: Counter[str] = field(default_factory=Counter)
    stopped: Counter[str] = field(default_factory=Counter)

    @property
    def alarms(self) -> float:
        return self.questioned.total() / self.good

    def share(self, kind: str) -> float:
        return self.stopped[kind] / self.slips[kind]

    def over_all(self) -> float:
        """The mean over the kinds that a history can show, a neighbour's tag being one."""
        tags, rest = SHOWN[:2], SHOWN[2:]
        return (sum(map(self.share, tags)) / 2 + sum(map(self.share, rest))) / (len(rest) + 1)


class Walk:
    """A walk through one stand, as the session knows it."""

    def __init__(self, stand: Stand) -> None:
        self.stand, self.tags = stand, list(stand.plot.trees)
        self._survey = Survey({"K2": stand.plot}, {"K2": Rules()})
        self._memory, self._entry = Memory(), 0
        self._take(lambda entry, at: Opened(entry, at, "K2", "R.V."))

    def _event(self, make: Callable[[int, str], Event]) -> Event:
        return make(self._entry + 1, f"{self.stand.today.isoformat()}T10:00:00+02:00")

    def _take(self, make: Callable[[int, str], Event]) -> None:
        self._memory, _ = step(self._survey, self._memory, self._event(make))
        self._entry += 1

    def _called(self, meaning: Meaning, about: int | None = None) -> Callable[[int, str], Event]:
        return lambda entry, at: Heard(entry, at, "typed", "", (meaning,), about=about)

    def warnings(self, tag: str, called: Decimal) -> list[str]:
        """What would be told of this callout; nothing comes of it."""
        event = self._event(self._called(Meaning("reading", tag, called)))
        pending = step(self._survey, self._memory, event)[0].pending
        assert pending is not None
        return [item.check for item in pending.warned]

    def save(self, tag: str, called: Decimal) -> None:
        self._take(self._called(Meaning("reading", tag, called)))
        assert self._memory.pending is not None
        self._take(self._called(Meaning("accept"), self._memory.pending.draft.entry))
        assert self._memory.pending is None


def slips(
    walk: Walk, design: Design, at: int, chance: random.Random
) -> Iterator[tuple[str, str, Decimal]]:
    """Every kind of slip that tree ``at`` has room for: kind, tag and figure as called."""
    tag, truth, called = walk.tags[at], walk.stand.called[at], walk.stand.called
    ahead, behind = at + 1 < len(called), at > 0
    if ahead:
        yield SHOWN[0], walk.tags[at + 1], truth
    if behind:
        yield SHOWN[1], walk.tags[at - 1], truth
    other = chance.choice([n for n in (at - 1, at + 1) if 0 <= n < len(called)])
    yield "neighbour's value", tag, called[other]
    if swaps := swapped(f"{truth}"):
        yield "swapped digits", tag, Decimal(chance.choice(swaps))
    yield "lost point", tag, Decimal(f"{truth}".replace(".", ""))
    yield "ten times", tag, truth * 10 if chance.random() < 0.5 else read(truth / 10)
    inches = design.unit is Unit.INCH
    yield "wrong unit", tag, read(truth * INCH if inches else truth / INCH)
    girth = design.scale is Scale.GIRTH
    yield "girth for diameter", tag, read(truth / PI if girth else truth * PI)
    yield "one whole unit off", tag, truth + chance.choice([1, -1])
    last = walk.stand.plot.trees[tag].past[-1].value
    yield "last time's value repeated", tag, read(last * PI) if girth else last


def swapped(text: str) -> list[str]:
    """Every text with two neighbouring digits, the point aside, in each other's place."""
    places = [at for at, mark in enumerate(text) if mark.isdigit()]
    found = []
    for left, right in pairwise(places):
        marks = list(text)
        marks[left], marks[right] = marks[right], marks[left]
        found.append("".join(marks))
    return [one for one in found if one != text]


def read(value: Decimal) -> Decimal:
    return max(TENTH, value.quantize(TENTH, ROUND_HALF_UP))


def walked(design: Design, plots: int, plant: bool = True) -> Tally:
    """Plots of one design, walked from end to end."""
    tally = Tally()
    for number in range(plots):
        walk = Walk(make_stand(design, number))
        chance = random.Random(number)
        for at, (tag, truth) in enumerate(zip(walk.tags, walk.stand.called, strict=True)):
            if plant and (at + number) % 3 == 0:
                for kind, slipped, figure in slips(walk, design, at, chance):
                    repeated = kind == UNSHOWN[1]
                    if (slipped, figure) == (tag, truth) and not repeated:
                        continue  # the slip changed nothing
                    tally.slips[kind] += 1
                    tally.stopped[kind] += bool(walk.warnings(slipped, figure))
            tally.good += 1
            tally.questioned.update(walk.warnings(tag, truth)[:1])
            walk.save(tag, truth)
    return tally


def table(name: str, plots: int, **more: object) -> None:
    """One table of six columns."""
    cells = [
        walked(Design(growth, every, **more), plots)  # type: ignore[arg-type]
        for every in EVERY
        for growth in GROWTH_MM.values()
    ]
    print(f"\n| {name} | " + " | ".join(f"{g}, {e} y" for e in EVERY for g in GROWTH_MM) + " |")
    print("|---|" + "---|" * len(cells))
    for kind in (*SHOWN, *UNSHOWN):
        print(f"| {kind} | " + " | ".join(f"{cell.share(kind):.0%}" for cell in cells) + " |")
    print(
        "| **over all kinds but the last two** | "
        + " | ".join(f"**{cell.over_all():.1%}**" for cell in cells)
        + " |"
    )
    print(
        "| **good readings questioned** | "
        + " | ".join(f"**{cell.alarms:.2%}**" for cell in cells)
        + " |"
    )
    told = sum((cell.questioned for cell in cells), Counter[str]())
    print(f"questioned of {sum(cell.good for cell in cells)} good ones, by check: {dict(told)}")


def alarms_alone(name: str, plots: int, **more: object) -> None:
    """One line: good readings questioned under other assumptions."""
    shares = [
        walked(Design(growth, every, **more), plots, plant=False).alarms  # type: ignore[arg-type]
        for every in EVERY
        for growth in GROWTH_MM.values()
    ]
    print(f"| {name} | " + " | ".join(f"{share:.2%}" for share in shares) + " |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--plots", type=int, default=12)
    parser.add_argument("--quick", action="store_true", help="one table only")
    given = parser.parse_args()
    began = time.perf_counter()
    print(f"{given.plots} plots of 100 trees in every column, three earlier visits")
    table("cm plots", given.plots)
    if not given.quick:
        table("inch plots", given.plots, unit=Unit.INCH)
        table("girth plots (cm)", given.plots, scale=Scale.GIRTH)
        table("cm plots, one earlier visit", given.plots, earlier=1)
        table("cm plots, half the error of reading", given.plots, error=0.5)
        print("\nGood readings questioned, cm plots, other assumptions\n")
        alarms_alone("two earlier visits", given.plots, earlier=2)
        alarms_alone("plots of 30 trees", given.plots * 3, trees=30)
        alarms_alone("growth doubled since the last visit", given.plots, released=2.0)
        alarms_alone("growth halved since the last visit", given.plots, released=0.5)
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
