"""Annual mortality and recruitment, by stem and by tree, of each plot and over plots.

Rates as in forest censuses (R. Condit and co-workers): mortality (ln N - ln S)/t, recruitment (ln
N2 - ln S)/t. Deaths found late are shared among the intervals that they may lie in. The interval of
one plot is binomial over its stems; over several, the plot is the unit.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from statsmodels.stats.proportion import proportion_confint

from callout.reports.stand.columns import CUT, DEAD, LIVE
from callout.reports.stand.dynamics.change import by_fate, fates, whole_basal_area
from callout.reports.stand.dynamics.late import by_interval, census_days, spells
from callout.reports.stand.formulas import log_rate
from callout.reports.stand.sampling import FEWEST_PLOTS, FEWEST_STEMS, t_quantile

AREA_CHANGED = "the plot's area changed: who is new cannot be told from who was outside"
FEW = f"fewer than {FEWEST_STEMS} stems: no interval"
FEW_PLOTS = f"fewer than {FEWEST_PLOTS} plots: no interval"
_COUNTED = ("cut", "lost", "found_again", "unmeasured")


def demographic_rates(stems: pd.DataFrame, facts: pd.DataFrame | None = None) -> pd.DataFrame:
    """Annual mortality and recruitment of each plot and pair of censuses.

    ``at_risk`` (stems whose fate by nature is known), ``survivors``, ``died`` (the last two with
    shares of ``late`` deaths, so fractions), ``recruits``, ``cut``, ``lost``, ``found_again``,
    ``unmeasured``, ``years``; ``mortality_year`` and ``recruitment_year`` with ``…_low`` and
    ``…_high`` (95 %, Wilson over stems; none below five), ``why``. ``facts``: ``scope_facts``.
    """
    days = census_days(stems)
    known, _ = by_interval(spells(stems), days)
    rows = fates(stems, whole_basal_area(stems), facts)
    table = days.assign(to_census=days.groupby("plot", observed=True)["census"].shift(-1))
    table = table.merge(known.drop(columns="cut"), on=["plot", "visit"])
    table = table[table["to_census"].notna()].reset_index(drop=True)
    counts = by_fate(table, rows, 1).rename(columns={"ingrowth": "recruits"})
    table = pd.concat([table, counts[["recruits", *_COUNTED]]], axis=1)
    table = table.rename(columns={"census": "from_census"}).astype({"to_census": "int64"})
    table["at_risk"] = table["survivors"] + table["died"]
    if (table["late"] == 0).all():
        for name in ("survivors", "died", "at_risk"):
            table[name] = table[name].round().astype(np.int64)
    table["scope"] = _area_changed(table, facts)
    return _annual(table)


def _area_changed(table: pd.DataFrame, facts: pd.DataFrame | None) -> pd.Series:
    if facts is None or not len(facts):
        return pd.Series(False, index=table.index)
    changed = facts[facts["larger"] | facts["smaller"]][["plot", "visit"]].assign(changed=True)
    return table[["plot", "visit"]].merge(changed, how="left")["changed"].eq(True)


def _annual(table: pd.DataFrame) -> pd.DataFrame:
    """The rates with their intervals, from counts."""
    after = table["survivors"] + table["recruits"]
    years = table["years"]
    table["mortality_year"] = log_rate(table["at_risk"], table["survivors"], years)
    table["recruitment_year"] = log_rate(after, table["survivors"], years)
    table["recruitment_year"] = table["recruitment_year"].mask(table["scope"])
    for name, events, of in (
        ("mortality", table["died"], table["at_risk"]),
        ("recruitment", table["recruits"].mask(table["scope"]), after),
    ):
        low, high = wilson(events, of)
        table[f"{name}_low"], table[f"{name}_high"] = (
            -np.log1p(-np.asarray(bound)) / years for bound in (low, high)
        )
    few = table["at_risk"] < FEWEST_STEMS
    table["why"] = np.select([table["scope"], few], [AREA_CHANGED, FEW], "")
    return table[
        [
            "plot",
            "from_census",
            "to_census",
            "years",
            "at_risk",
            "survivors",
            "died",
            "late",
            "recruits",
            *_COUNTED,
            "mortality_year",
            "mortality_low",
            "mortality_high",
            "recruitment_year",
            "recruitment_low",
            "recruitment_high",
            "why",
        ]
    ]


def wilson(events: Any, of: Any) -> tuple[Any, Any]:
    """95 % bounds of the share ``events`` of ``of`` (E. B. Wilson's score); NaN below five."""
    n = np.asarray(of, dtype=np.float64)
    count = np.asarray(events, dtype=np.float64)
    usable = (n >= FEWEST_STEMS) & ~np.isnan(count)
    safe = np.where(usable, n, FEWEST_STEMS)
    low, high = proportion_confint(np.where(usable, count, 0.0), safe, method="wilson")
    high = np.minimum(high, 1 - 1e-12)
    return np.where(usable, low, np.nan), np.where(usable, high, np.nan)


def rates_of_site(rates: pd.DataFrame) -> pd.DataFrame:
    """Mortality and recruitment over plots in each pair of censuses, the plot as the unit.

    ``plots``, ``mortality_year``, ``recruitment_year`` and their bounds: deaths over stems at risk
    of all plots, each left out in turn (jackknife, Student's t); no interval below three plots.
    """
    usable = rates[rates["at_risk"] > 0].rename(columns={"why": "of_plot"})
    after = usable["survivors"] + usable["recruits"]
    recruits = usable["recruits"].where(usable["recruitment_year"].notna())
    weighted = usable.assign(
        after=after.where(recruits.notna(), 0),
        recruits=recruits.fillna(0),
        time=usable["years"] * usable["at_risk"],
    )
    keys = ["from_census", "to_census"]
    grouped = weighted.groupby(keys, observed=True)
    table = grouped.agg(plots=("plot", "nunique"), at_risk=("at_risk", "sum"), time=("time", "sum"))
    years = table.pop("time") / table["at_risk"]
    enough = table["plots"] >= FEWEST_PLOTS
    for name, total, of in (("mortality", "died", "at_risk"), ("recruitment", "recruits", "after")):
        share, half = _log_share(weighted, keys, total, of)
        table[f"{name}_year"] = -np.log1p(-share) / years
        for bound, sign in (("low", -1), ("high", 1)):
            with np.errstate(over="ignore"):
                at = share * np.exp(sign * half)
            limit = -np.log1p(-at.clip(upper=1 - 1e-12)) / years
            table[f"{name}_{bound}"] = limit.where(enough)
    table["why"] = np.where(enough, "", FEW_PLOTS)
    return table.reset_index()


def _log_share(
    rows: pd.DataFrame, keys: list[str], total: str, of: str
) -> tuple[pd.Series, pd.Series]:
    """sum(total)/sum(of), and half the interval of its logarithm by the jackknife over plots."""
    parts = rows.groupby([*keys, "plot"], observed=True)[[total, of]].sum().reset_index()
    grouped = parts.groupby(keys, observed=True)
    whole, plots = grouped[[total, of]].transform("sum"), grouped[total].transform("size")
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(whole[total] / whole[of])
        without = np.log((whole[total] - parts[total]) / (whole[of] - parts[of]))
        squares = (without - ratio) ** 2 * (plots - 1) / plots
    found = parts[keys].assign(squares=squares, plots=plots).groupby(keys, observed=True)
    told = found.agg(squares=("squares", lambda own: own.sum(skipna=False)), n=("plots", "first"))
    sums = grouped[[total, of]].sum()
    half = t_quantile(told["n"] - 1) * np.sqrt(told["squares"])
    half = pd.Series(half, index=told.index).replace(np.inf, np.nan)
    return sums[total] / sums[of], half


def as_trees(stems: pd.DataFrame) -> pd.DataFrame:
    """``stems`` with all stems of one tag combined into one tree.

    Live while any of its stems is; ``diameter_cm`` is that of the summed cross-sections. A tree is
    dead if none of its stems lives and one is dead, cut if one is cut, else lost.
    """
    keys = ["plot", "tag", "census"]
    status = stems["status"]
    rank = np.select([status == LIVE, status.isin(DEAD), status == CUT], [0, 1, 2], 3)
    size = stems["diameter_cm"].where(stems["measured"], 0.0)
    rows = stems[[*keys, "visit", "date", "census_day", "measured"]].assign(
        rank=rank, status=status, square=size * size
    )
    rows = rows.sort_values([*keys, "rank"], kind="stable")
    table = (
        rows.groupby(keys, observed=True, sort=False)
        .agg(
            visit=("visit", "first"),
            date=("date", "max"),
            census_day=("census_day", "first"),
            measured=("measured", "any"),
            status=("status", "first"),
            square=("square", "sum"),
        )
        .reset_index()
    )
    table["diameter_cm"] = np.sqrt(table.pop("square")).where(table["measured"])
    code = table.groupby(["plot", "tag"], observed=True, sort=False).ngroup()
    table = table.assign(stem="", stem_code=code)
    return table.sort_values(["stem_code", "census"], kind="stable").reset_index(drop=True)
