"""How often the checks question good readings: a nag is ignored, so at most 2 % at default limits.

Printed with ``pytest -s``. The site is invented; its error of measurement is the census rule's.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import pytest
from invented_site import TODAY, UNITS, Standing, make_site

from callout.core.checking.checks import DEFAULT_LIMITS, Limits, against_history
from callout.core.model import Plot, PlotSettings
from callout.core.units import Unit, convert

SITES = 20
CLASSES = ((0, 15), (15, 30), (30, 50), (50, 999))


def live_trees(number: int, released: float = 1.0) -> list[Standing]:
    """Every live tree, in the order of the walk."""
    return [item for item in make_site(number, released) if item.today is not None]


def plots_of(site: list[Standing], visits: int = 3) -> dict[str, Plot]:
    """The site's plots, as far back as ``visits`` earlier ones."""
    found = {}
    for name, unit in UNITS.items():
        here = [item.tree for item in site if item.tree.plot == name]
        trees = {tree.tag: replace(tree, past=tree.past[-visits:]) for tree in here}
        found[name] = Plot(PlotSettings(name, unit=unit), trees)
    return found


def alarms_of(
    site: list[Standing], limits: Limits = DEFAULT_LIMITS, visits: int = 3
) -> list[tuple[Standing, str]]:
    """Good readings that were questioned, each with the check; ``visits`` earlier ones known."""
    found, before = [], None
    plots = plots_of(site, visits)
    for item in site:
        assert item.today is not None
        plot, size = plots[item.tree.plot], item.today
        tree = plot.trees[item.tree.tag]
        warned = against_history(plot, tree, size, size, TODAY, limits, before)
        found += [(item, one.check) for one in warned]
        before = size
    return found


def every_site(released: float = 1.0) -> list[list[Standing]]:
    return [live_trees(number, released) for number in range(SITES)]


def class_of(item: Standing) -> tuple[int, int]:
    assert item.today is not None
    size_cm = convert(item.today, item.unit, Unit.CENTIMETRE)
    return next(one for one in CLASSES if one[0] <= size_cm < one[1])


@pytest.mark.parametrize("number", range(3))
def test_the_same_number_gives_the_same_site(number):
    assert make_site(number) == make_site(number)
    assert make_site(number) != make_site(number + 1)


def test_good_readings_are_left_alone():
    sites = every_site()
    live = [item for site in sites for item in site]
    found = [one for site in sites for one in alarms_of(site)]
    print(f"\n{len(live)} good readings of {SITES} invented sites, default limits")
    for name, count in Counter(name for _, name in found).most_common():
        print(f"  {name:20} {count:5}             {count / len(live):6.2%}")
    readings, fired = Counter(map(class_of, live)), Counter(class_of(item) for item, _ in found)
    for low, high in CLASSES:
        of, count = readings[low, high], fired[low, high]
        print(f"  {f'{low} to {high} cm':20} {count:5} of {of:6}  {count / of:9.2%}")
    share = len(found) / len(live)
    print(f"  {'all':20} {len(found):5} of {len(live):6}  {share:9.2%}")
    assert share <= 0.02


@pytest.mark.parametrize(
    ("what", "visits", "released", "most"),
    [
        ("one earlier visit", 1, 1.0, 0.02),
        ("two earlier visits", 2, 1.0, 0.02),
        ("released", 3, 2.0, 0.3),
    ],
)
def test_with_less_to_go_by(what, visits, released, most):
    """Rosters with fewer visits; and a stand that grows twice as fast since it was thinned,

    which is another growth than the plot's own, and looks so.
    """
    sites = every_site(released)
    share = sum(len(alarms_of(site, visits=visits)) for site in sites) / sum(map(len, sites))
    print(f"\n  {what:20} {share:9.2%}")
    assert share <= most


def swapped(text: str) -> list[str]:
    """Every text in which two neighbouring digits, the point aside, have changed places."""
    places = [at for at, mark in enumerate(text) if mark.isdigit()]
    found = []
    for left, right in pairwise(places):
        marks = list(text)
        marks[left], marks[right] = marks[right], marks[left]
        found.append("".join(marks))
    return [one for one in found if one != text]


def one_off(text: str) -> list[str]:
    """Every text in which one digit, not the last, is one more or one less."""
    places = [at for at, mark in enumerate(text) if mark.isdigit()][:-1]
    digits = [(at, int(text[at]) + by) for at in places for by in (-1, 1)]
    return [f"{text[:at]}{new}{text[at + 1 :]}" for at, new in digits if 0 <= new <= 9]


@pytest.mark.parametrize(
    ("what", "slips", "least"), [("swapped", swapped, 0.8), ("one off", one_off, 0.6)]
)
def test_digits_slipped_at_random(what, slips, least):
    """Not every slip can be seen: many give a size that the tree might have."""
    told = total = 0
    for site in every_site()[:5]:
        plots = plots_of(site)
        for item in site:
            for text in slips(str(item.today)):
                total += 1
                wrong, plot = Decimal(text), plots[item.tree.plot]
                told += bool(against_history(plot, item.tree, wrong, wrong, TODAY))
    print(f"\n  {what:20} {told:5} of {total:6}  {told / total:9.2%}")
    assert told / total >= least


def test_tighter_limits_question_more():
    live = live_trees(0)
    assert len(alarms_of(live, Limits(shrink_sd=Decimal("1.5")))) > 2 * len(alarms_of(live))
