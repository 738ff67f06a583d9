"""How often 95 % intervals hold the truth, and how often labels come of noise.

    python -m benchmarks.intervals [simulations] [stream]

Sites are simulated with a known truth, read with errors, and handed to the report's own functions.
Prints the share of intervals that hold the truth; 300 simulations leave it sure to about 2.5 %.
What all trees share is drawn anew in each simulation: only then can an interval that allows for it
hold the truth in 95 of 100. A fixed amount less than its deviation is held nearly always.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np
import pandas as pd

from callout.reports.stand.census import stem_census
from callout.reports.stand.corrected import corrected
from callout.reports.stand.dynamics.climate import correlations
from callout.reports.stand.dynamics.compare import Figure, assigned, treatment_effects
from callout.reports.stand.dynamics.growth import growth_by_plot, growth_by_year, growth_of_site
from callout.reports.stand.dynamics.periods import judged_periods
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.mass.biomass import CarbonSettings, mass_kg, stem_biomass
from callout.reports.stand.mass.equation_set import read_equations
from callout.reports.stand.mass.mass_variance import Draws
from callout.reports.stand.mass.uncertainty import carbon_intervals
from callout.reports.stand.sampling import LABEL_P

SET = read_equations()
PINE = SET.equations["pine"]
DRAWS = Draws(draws=1000)


def site(rng, plots, trees, *, shared, own, factor=1.0, crew=(0.0, 0.0), large=0.0, drawn_crew=0.0):
    """Plots of pines in two censuses: the stems with their masses, and of each plot the true masses

    and those that the equation gives for the true diameters, by census.
    """
    shape = (plots, trees)
    true = [rng.uniform(12, 60, shape)]
    true.append(true[0] + rng.uniform(0.5, 3, shape))
    ln = own * rng.standard_normal(shape) + shared * rng.standard_normal((plots, 1))
    ln -= (own**2 + shared**2) / 2
    error, frames, truths, by_equation = DRAWS.error, [], [], []
    for at, year in enumerate((2015, 2020)):
        mass = mass_kg(true[at], PINE.b0, PINE.b1)
        truths.append((factor * mass * np.exp(ln)).sum(axis=1))
        by_equation.append(mass.sum(axis=1))
        far = rng.random(shape) < large
        sd = np.where(far, error.large_sd_cm(true[at]), error.sd_cm(true[at]))
        offset = crew[at] + drawn_crew * rng.standard_normal((plots, 1))
        read = true[at] + offset + sd * rng.standard_normal(shape)
        frames.append(
            pd.DataFrame(
                {
                    "plot": np.repeat(np.arange(plots).astype(str), trees),
                    "tag": np.tile(np.arange(trees).astype(str), plots),
                    "stem": "",
                    "species": "Pinus strobus",
                    "date": pd.Timestamp(f"{year}-07-01"),
                    "value": None,
                    "unit": "cm",
                    "diameter_cm": np.maximum(np.round(read.ravel(), 1), 0.5),
                    "status": "live",
                    "measured_height_m": 1.37,
                    "source": "callout",
                }
            )
        )
    rows = pd.concat(frames, ignore_index=True)
    facts = PlotFacts(places_of(rows["plot"].unique()))
    stems = stem_census(corrected(rows, facts))
    return stem_biomass(stems, SET, CarbonSettings(0.5)), facts, truths, by_equation


def places_of(names, treatment=""):
    """A frame of plots of 0.1 ha."""
    return pd.DataFrame(
        {
            "plot": names,
            "area_ha": 0.1,
            "unit": "cm",
            "breast_height_m": 1.37,
            "treatment": treatment,
        }
    )


def carbon_case(rng, count, trees, draws=DRAWS, **how):
    """Shares held of stocks and of changes: by the whole interval, and by that of measuring."""
    rows, facts, *truths = site(rng, count, trees, **how)
    table = carbon_intervals(rows, facts, 0.5, draws)
    table["at"] = table["plot"].astype(int)
    table = table.sort_values(["census", "at"])
    stock, change = table[table["census"] == 2015], table[table["census"] == 2020]
    found = []
    for kind, (first, second) in zip(("", "measuring_"), truths, strict=True):
        grown = (second - first) / 2
        found += [
            held(stock[f"{kind}low_kg"], first / 2, stock[f"{kind}high_kg"]),
            held(change[f"change_{kind}low_kg"], grown, change[f"change_{kind}high_kg"]),
        ]
    return found


def carbon_cases(rng, count):
    """Carbon where its own model is the truth, and where equations, a crew or readings are off."""
    ln, share, error = PINE.residual_ln, DRAWS.equation_share, DRAWS.error
    reading = {"large": error.large_share, "drawn_crew": error.crew_cm}
    alone = {"shared": 0.0, "own": ln, **reading}
    model = {"shared": np.sqrt(share) * ln, "own": np.sqrt(1 - share) * ln, **reading}
    tenth = {"shared": 0.1, "own": np.sqrt(ln**2 - 0.01), **reading}
    told_tenth = replace(DRAWS, equation_share=0.01 / ln**2)
    for words, trees, draws, how in (
        ("its own model is the truth, 40 trees", 40, DRAWS, model),
        ("its own model is the truth, 200 trees", 200, DRAWS, model),
        ("equations off by 10 % at random, the share told so", 200, told_tenth, tenth),
        ("equations off by 10 % at random, the default share", 200, DRAWS, tenth),
        ("equations 10 % too low everywhere", 200, DRAWS, {**alone, "factor": 1.1}),
        ("a crew off by 1 mm at random", 200, DRAWS, model),
        (
            "a crew 1 mm too high in the second census",
            200,
            DRAWS,
            {**alone, "drawn_crew": 0.0, "crew": (0.0, 0.1)},
        ),
        ("5 % of large errors, 40 trees", 40, DRAWS, alone),
        ("5 % of large errors, 200 trees", 200, DRAWS, alone),
    ):
        whole = [told(one) for one in carbon_case(rng, count, trees, draws, **how)]
        print(
            f"carbon, {words}: stock {whole[0]}, change {whole[1]}; "
            f"measuring alone: stock {whole[2]}, change {whole[3]}",
            flush=True,
        )


def held(low, truth, high):
    """The share of intervals that hold the truth; NaN where none is told."""
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    told = np.isfinite(low) & np.isfinite(high)
    inside = (low <= truth) & (truth <= high)
    return float(inside[told].mean()) if told.any() else float("nan")


def pairs(rng, sites, plots, trees, *, between=0.05, within=0.1, spread=0):
    """Increments of many sites at once: a site is a pair of censuses (its number and the next)."""
    count = trees + (rng.integers(-spread, spread + 1, (sites, plots)) if spread else 0)
    count = np.broadcast_to(count, (sites, plots)).ravel()
    growth = 0.3 + between * rng.standard_normal((sites, plots)).ravel()
    at = np.repeat(np.arange(sites * plots), count)
    each = growth[at] + within * rng.standard_normal(len(at))
    census = at // plots
    return pd.DataFrame(
        {
            "plot": (at % plots).astype(str),
            "species": "a",
            "from_census": census,
            "to_census": census + 1,
            "diameter_cm_year": each,
            "basal_area_m2_year": 0.0,
            "relative_year": 0.0,
            "same_height": True,
        }
    )


def growth_cases(rng, count):
    """Growth of one plot by its stems, and of a site by its plots."""
    for trees in (2, 4, 5, 10, 40):
        table = growth_by_plot(pairs(rng, count, 1, trees, between=0.0))
        share = held(table["low_cm_year"], 0.3, table["high_cm_year"])
        print(f"growth of a plot, {trees} stems: {told(share)}")
    for plots in (2, 3, 6):
        rows = pairs(rng, count, plots, 30)
        table = growth_of_site(growth_by_plot(rows))
        print(f"growth of a site, {plots} plots: {told(held(table['low'], 0.3, table['high']))}")
        rows = pairs(rng, count, plots, 30, spread=20)
        table = growth_by_year(rows)
        share = held(table["low_cm_year"], 0.3, table["high_cm_year"])
        print(f"growth by species over {plots} plots of 10 to 50 stems: {told(share)}")


def told(share):
    """A share in words."""
    return "no interval" if np.isnan(share) else f"{100 * share:.1f} %"


def treatment_rows(rng, plots, censuses, *, effect, gaps=0):
    """Levels of plots before and after: plots differ, and shift each by itself besides."""
    rows = []
    for at in range(2 * plots):
        name, base, shift = f"{at}", 25 + 4 * rng.standard_normal(), rng.standard_normal()
        for visit in range(2 * censuses):
            if gaps and at % 2 and visit == 0:
                continue  # a census that some plots lack
            after = visit >= censuses
            value = base + after * (shift + 2.0 + effect * (at < plots)) + rng.standard_normal()
            day = pd.Timestamp(f"{2000 + 2 * visit}-07-01")
            rows.append({"plot": name, "start": day, "day": day, "value": value})
    places = places_of([str(at) for at in range(2 * plots)])
    places["treatment"] = ["thinned"] * plots + ["control"] * plots
    history = pd.DataFrame(
        [
            {
                "plot": str(at),
                "from_day": pd.Timestamp(f"{2000 + 2 * censuses - 1}-07-01"),
                "treatment": "thinned",
            }
            for at in range(plots)
        ]
    )
    for column in ("area_ha", "breast_height_m"):
        history[column] = np.nan
    for column in ("graduation", "rounding", "scale", "smallest", "tape_offset"):
        history[column] = ""
    return assigned(pd.DataFrame(rows), PlotFacts(places, history))


def treatment_cases(rng, count):
    """Effects of treatments with few plots: before and after, even and uneven, and by level."""
    figure = Figure("basal_area_m2_ha", "Basal area", 2)
    for plots in (2, 3, 4):
        for words, censuses, gaps in (("even", 3, 0), ("uneven", 3, 1), ("two censuses", 1, 0)):
            found = [
                treatment_effects(
                    treatment_rows(rng, plots, censuses, effect=-5.0, gaps=gaps), figure, "control"
                ).iloc[0]
                for _ in range(count if not gaps else count // 2)  # a model is fitted each time
            ]
            table = pd.DataFrame(found)
            assert set(table["design"]) == {"before and after"}
            share = held(table["low"], -5.0, table["high"])
            sure = float((table["high"] < 0).mean())
            print(
                f"treatment, {plots} and {plots} plots, before and after, {words}: {told(share)}; "
                f"an effect of 5 shown in {100 * sure:.0f} %"
            )
        values = []
        for _ in range(count):
            rows = treatment_rows(rng, plots, 2, effect=-5.0)
            values.append(treatment_effects(rows.assign(since=pd.NaT), figure, "control").iloc[0])
        table = pd.DataFrame(values)
        # By level both halves count, so the truth is half the effect.
        print(
            f"treatment, {plots} and {plots} plots, level: "
            f"{told(held(table['low'], -2.5, table['high']))}; "
            f"shown in {100 * float((table['high'] < 0).mean()):.0f} %"
        )


def noise_cases(rng, count):
    """Tables of pure noise that carry a label, or a climate figure that holds."""
    labelled = holding = 0
    for _ in range(count):
        sets = [pairs(rng, 8, 6, 10)]
        rows = pd.concat(sets, ignore_index=True)
        rows[["from_census", "to_census"]] += 2010
        table = judged_periods(rows)
        labelled += bool(table["judged"].isin(["good", "bad"]).any())
        climate = pd.DataFrame(rng.standard_normal((10, 6)), columns=list("abcdef"))
        climate.insert(0, "year", range(2009, 2019))
        holding += bool((correlations(table, climate)["p_corrected"] < LABEL_P).any())
    print(f"tables of noise with a good or bad year: {100 * labelled / count:.1f} %")
    print(f"tables of noise with a climate figure that holds: {100 * holding / count:.1f} %")


def main() -> None:
    """Every case, a line each."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    started = time.perf_counter()
    carbon_cases(rng, count)
    growth_cases(rng, count)
    noise_cases(rng, count)
    treatment_cases(rng, count)
    seconds = time.perf_counter() - started
    print(f"{count} simulations a case (uneven treatments half), {seconds:.0f} s")


if __name__ == "__main__":
    main()
