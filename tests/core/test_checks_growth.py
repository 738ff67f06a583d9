"""Growth expected by the plot's own past, against numpy's normal distributions conditioned in one

step (the textbook formula), and against quantiles and spreads that numpy reckons. Trees invented.
"""

from __future__ import annotations

import random
from datetime import date
from decimal import Decimal

import in_english
import numpy as np
import pytest

from callout.core.checking import checks
from callout.core.checking.checks_growth import expected
from callout.core.checking.checks_limits import DEFAULT_LIMITS, Limits, measurement_sd_mm
from callout.core.model import PastMeasurement, Plot, PlotSettings, Tree
from callout.core.units import Unit

DAYS = (date(2009, 6, 2), date(2014, 6, 2), date(2019, 6, 2))
NOW = date(2024, 6, 2)


def tree(tag: str, *sizes: float, species: str = "beech", days: tuple[date, ...] = DAYS) -> Tree:
    past = tuple(
        PastMeasurement(on, Decimal(str(round(size, 1))), Unit.CENTIMETRE)
        for on, size in zip(days, sizes, strict=False)
    )
    return Tree("K2", tag, species, past)


def plot(*trees: Tree) -> Plot:
    return Plot(PlotSettings("K2"), {item.tag: item for item in trees})


def grown(number: int, rate_mm: float, spread_mm: float, species: str = "beech") -> list[Tree]:
    """Forty trees of about 25 cm, seen three times; a careful tape (1 mm)."""
    chance = random.Random(number)
    found = []
    for at in range(40):
        rate = max(0.0, chance.gauss(rate_mm, spread_mm)) / 10
        size = chance.uniform(20, 29)
        read = [size + rate * 5 * n + chance.gauss(0, 0.1) for n in range(3)]
        found.append(tree(f"{species[:1]}{number}{at}", *read, species=species))
    return found


def checked(site: Plot, one: Tree, value: str, **more: object) -> list[str]:
    size = Decimal(value)
    told = checks.against_history(site, one, size, size, NOW, **more)  # type: ignore[arg-type]
    return [warned.check for warned in told]


def test_the_filter_is_the_normal_distribution_conditioned_on_the_record():
    """All in one: size today given every earlier size, by the inverse of their covariance."""
    others = grown(1, 2.0, 0.8)
    one = tree("83", 22.0, 23.4, 24.1)
    site = plot(*others, one)
    rates = site.growth.rates(one, DEFAULT_LIMITS)
    varies = float(DEFAULT_LIMITS.growth_varies)
    years = np.array([0, *((on - DAYS[0]).days / 365.25 for on in (*DAYS[1:], NOW))])
    sizes = np.array([220.0, 234.0, 241.0])
    error = np.array([float(site.growth.error_mm2(Decimal(str(size)))) for size in sizes])
    steps = np.diff(years)
    between = (varies * float(rates.centre)) ** 2

    def joint(last: float) -> np.ndarray:
        """Covariance of the four true sizes less the first: one rate, and each step's own."""
        own = np.array([between, between, last])
        of_steps = np.cumsum([0.0, *(own * steps**2)])
        wander = np.minimum.outer(of_steps, of_steps)
        return float(rates.spread) ** 2 * np.outer(years, years) + wander

    diffuse = 1e9  # where the tree started is not known beforehand
    mean = sizes[0] + float(rates.centre) * years

    def told(last: float) -> tuple[float, float, float]:
        cov = joint(last) + diffuse
        seen = cov[:3, :3] + np.diag(error)
        gain = np.linalg.solve(seen, cov[:3, 3])
        middle = mean[3] + gain @ (sizes - mean[:3])
        # The rate, known as well by now, sets how much the last step may vary.
        with_rate = float(rates.spread) ** 2 * years[:3]
        rate = float(rates.centre) + np.linalg.solve(seen, with_rate) @ (sizes - mean[:3])
        return middle, cov[3, 3] - gain @ cov[:3, 3], rate

    _, _, rate = told(between)
    middle, variance, _ = told((varies * rate) ** 2)
    likely = expected(site.growth, one, NOW, DEFAULT_LIMITS)
    assert likely is not None
    assert float(likely.middle_mm) == pytest.approx(middle, abs=0.01)
    whole = variance + float(site.growth.error_mm2(likely.middle_mm))
    assert float(likely.sd_mm) == pytest.approx(whole**0.5, rel=1e-3)


def test_centre_and_spread_are_numpy_s():
    """Over forty trees the general bound hardly weighs; noise is taken from the spread."""
    site = plot(*grown(2, 3.0, 1.0))
    rates = []
    for one in site.trees.values():
        years = (DAYS[2] - DAYS[0]).days / 365.25
        rates.append(float(one.past[2].value - one.past[0].value) * 10 / years)
    found = site.growth.groups["", None]
    assert float(found.centre) == pytest.approx(float(np.median(rates)))
    mad = 1.4826 * np.median(np.abs(rates - np.median(rates)))
    robust = max(mad, np.quantile(rates, 0.84) - np.median(rates))
    assert 0.8 * robust <= float(found.spread) <= robust


def test_one_gross_error_of_the_past_moves_nothing():
    trees = grown(3, 2.0, 0.5)
    site = plot(*trees)
    wrong = tree("wrong", 25.0, 26.0, 62.0)
    spoilt = plot(*trees, wrong)
    for name in ("centre", "spread"):
        before = getattr(site.growth.groups["", None], name)
        after = getattr(spoilt.growth.groups["", None], name)
        assert abs(after - before) < Decimal("0.1")


def test_species_differ_where_there_are_enough_of_them():
    """Invented: larch at 6 mm a year, beech at 1; up 3 cm in five years is a larch's growth."""
    site = plot(*grown(4, 1.0, 0.3), *grown(5, 6.0, 1.0, "larch"))
    larch = tree("L", 25.0, species="larch", days=DAYS[2:])
    beech = tree("B", 25.0, days=DAYS[2:])
    unknown = tree("U", 25.0, species="rowan", days=DAYS[2:])
    site = Plot(site.settings, {**site.trees, "L": larch, "B": beech, "U": unknown})
    assert checked(site, larch, "28.0") == []
    assert checked(site, beech, "28.0") != []
    assert checked(site, unknown, "28.0") == [], "one of a kind leans on the whole plot"


def test_size_classes_differ_too():
    small = [tree(f"s{n}", 10.0 + n / 10, 10.1 + n / 10, 10.2 + n / 10) for n in range(30)]
    large = [tree(f"l{n}", 40.0 + n / 5, 42.0 + n / 5, 44.0 + n / 5) for n in range(30)]
    site = plot(*small, *large)
    rates = {name: site.growth.rates(site.trees[name], DEFAULT_LIMITS) for name in ("s3", "l3")}
    assert rates["s3"].centre < 1 < 3 < rates["l3"].centre


def test_a_few_trees_lean_on_the_general_bound():
    fast = [tree(str(n), 20.0, 24.0, 28.0) for n in range(3)]
    many = [tree(str(n), 20.0, 24.0, 28.0) for n in range(60)]
    few = plot(*fast).growth.rates(fast[0], DEFAULT_LIMITS)
    full = plot(*many).growth.rates(many[0], DEFAULT_LIMITS)
    assert Decimal(3) < few.centre < Decimal(7) < full.centre < Decimal("8.1")
    assert few.spread > full.spread


def test_a_tree_s_own_record_counts_more_than_the_plot_s():
    site = plot(*grown(6, 2.0, 1.2), tree("83", 20.0, 22.5, 25.0), tree("84", 33.9, 34.0, 34.0))
    fast, still = site.trees["83"], site.trees["84"]
    assert checked(site, fast, "27.4") == []
    assert checked(site, still, "36.4") != []
    assert checked(site, still, "34.0") == []
    assert checked(site, fast, "25.0") == ["last time again"]
    assert checked(site, fast, "25.1") == ["too slow"]
    assert checked(site, fast, "24.9") == ["shrunk"]


def test_what_is_dead_may_stand_still():
    site = plot(*grown(6, 2.0, 1.2), tree("83", 20.0, 22.5, 25.0))
    assert checked(site, site.trees["83"], "25.0", alive=False) == []
    assert checked(site, site.trees["83"], "24.8", alive=False) == []


def test_a_broken_step_of_the_past_starts_the_size_anew():
    """Measured higher up since 2014, say: 30 cm became 24; its growth is not -12 mm a year."""
    site = plot(*grown(7, 2.0, 0.6), tree("83", 30.0, 24.0, 25.0))
    likely = expected(site.growth, site.trees["83"], NOW, DEFAULT_LIMITS)
    assert likely is not None
    assert 255 < likely.middle_mm < 265


def test_a_careful_plot_s_own_error_is_believed_down_to_a_fifth():
    careful = plot(*grown(8, 1.0, 0.1))
    size = Decimal(250)
    own = careful.growth.error_mm2(size)
    published = measurement_sd_mm(size) ** 2
    assert published / 5 < own < published / 2
    alone = plot(tree("1", 25.0, 26.0))
    assert alone.growth.error_mm2(size) > Decimal("0.9") * published


def test_the_tree_beside():
    """Invented: 83 had 25.0, 84 in the walk behind it 27.4, both with little growth."""
    still = [tree(f"s{n}", 20.0 + n / 4, 20.1 + n / 4, 20.2 + n / 4) for n in range(30)]
    here, behind = tree("83", 24.8, 24.9, 25.0), tree("84", 27.2, 27.3, 27.4)
    site = plot(*still, here, behind)
    size = Decimal("27.5")
    (warned,) = checks.against_history(site, here, size, size, NOW)
    assert warned.check == "tree beside"
    assert in_english.part(warned.says) == "that is up 2.5 in 5 years, it fits tree 84 better"
    assert checked(site, behind, "27.5") == []
    apart = plot(here, *still, behind)  # no longer one after the other
    assert "tree beside" not in checked(apart, here, "27.5")


def test_growth_is_reckoned_once_for_a_plot():
    site = plot(*grown(9, 2.0, 0.6))
    assert site.growth is site.growth


def test_slower_limits_are_settable():
    site = plot(*grown(6, 2.0, 1.2), tree("83", 20.0, 22.5, 25.0))
    loose = Limits(slow_sd=Decimal(9))
    assert checked(site, site.trees["83"], "25.1", limits=loose) == []
