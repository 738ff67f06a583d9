"""What changed between two censuses of a plot: components that add up exactly, and rates.

Each tree's basal area is first rounded to a whole 10^-9 m2 (a thousandth of a square millimetre)
and its biomass to a whole milligram; from there on only whole numbers are added, so that the parts
equal the whole to the last digit. Nothing here guesses the fate of a stem that nobody told.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from callout.reports.stand.columns import CUT, DEAD, LIVE, LOST
from callout.reports.stand.formulas import basal_area_m2, log_rate, years_between

# Each component, and whether it adds to the stand (+1) or takes from it (-1).
COMPONENTS = {
    "survivor_growth": 1,
    "ingrowth": 1,
    "found_again": 1,
    "mortality": -1,
    "cut": -1,
    "lost": -1,
    "unmeasured": -1,
}
NANO = Decimal("1E-9")  # basal area: whole 10^-9 m2
MILLIGRAM = Decimal("1E-6")  # biomass in kg: whole milligrams


def whole_basal_area(stems: pd.DataFrame) -> pd.Series:
    """Basal area of each row in whole 10^-9 m2; 0 where not live and measured."""
    return whole(basal_area_m2(stems["diameter_cm"]), stems["measured"], 1e9)


def whole(figure: Any, counted: pd.Series, per_unit: float) -> pd.Series:
    """``figure`` as whole numbers of 1/``per_unit``; 0 where not ``counted``."""
    kept = np.where(counted.to_numpy(dtype=bool), np.asarray(figure, dtype=np.float64), 0.0)
    return pd.Series(np.rint(kept * per_unit).astype(np.int64), index=counted.index)


def fates(stems: pd.DataFrame, amount: pd.Series) -> pd.DataFrame:
    """One row a stem and pair of following censuses of its plot in which it counts.

    ``amount`` is whole numbers, one a row of ``stems``. Gives ``plot``, ``visit`` (of the first
    census), ``fate`` (a key of COMPONENTS), ``before``, ``after`` (amounts, 0 where not counted).
    """
    part = stems[["plot", "stem_code", "visit", "status", "measured", "date"]]
    part = part.assign(amount=amount.to_numpy())
    seen_first = part.groupby("stem_code")["visit"].transform("min")
    earlier = part.assign(known=True)
    later = part.assign(visit=part["visit"] - 1, new=seen_first == part["visit"])
    later = later[later["visit"] >= 0]
    keys = ["plot", "stem_code", "visit"]
    both = earlier.merge(later, how="outer", on=keys, suffixes=("_1", "_2"))
    last = part.groupby("plot", observed=True)["visit"].max().rename("last").reset_index()
    both = both.merge(last, on="plot")
    both = both[both["visit"] < both["last"]]
    counted_1 = both["measured_1"].fillna(False).astype(bool)
    counted_2 = both["measured_2"].fillna(False).astype(bool)
    new = both["new"].fillna(False).astype(bool)
    state = both["status_2"].astype(object)
    fate = np.select(
        [
            counted_1 & counted_2,
            counted_2 & new,
            counted_2,
            counted_1 & state.isin(DEAD),
            counted_1 & (state == CUT),
            counted_1 & state.isin(LOST),
            counted_1,
        ],
        list(COMPONENTS),
        "",
    )
    table = both.assign(
        fate=fate,
        before=both["amount_1"].fillna(0).astype("int64").where(counted_1, 0),
        after=both["amount_2"].fillna(0).astype("int64").where(counted_2, 0),
        alive_2=(state == LIVE),
    )
    columns = [*keys, "fate", "before", "after", "alive_2", "date_1", "date_2"]
    return table.loc[table["fate"] != "", columns].reset_index(drop=True)


def components(stems: pd.DataFrame, amount: pd.Series, unit: Decimal = NANO) -> pd.DataFrame:
    """Components of change of each plot and pair of censuses, as exact decimals.

    Columns: ``plot``, ``from_census``, ``to_census``, ``at_first``, ``at_second`` (sums of all
    live measured stems), the COMPONENTS (all told as positive amounts except survivor growth,
    which may be negative), ``net`` (at_second - at_first). Always
    ``net = survivor_growth + ingrowth + found_again - mortality - cut - lost - unmeasured``.
    ``found_again`` are stems known earlier but not measured at the first census; ``lost`` are
    told missing or not found; ``unmeasured`` were live and got no diameter or no row.
    """
    rows = fates(stems, amount)
    change = (rows["after"] - rows["before"]).abs()
    change = change.where(rows["fate"] != "survivor_growth", rows["after"] - rows["before"])
    parts = rows.assign(change=change).pivot_table(
        index=["plot", "visit"], columns="fate", values="change", aggfunc="sum", observed=True
    )
    parts = parts.reindex(columns=list(COMPONENTS)).fillna(0).astype("int64")
    totals = _totals(stems, amount)
    table = totals.join(parts).fillna(dict.fromkeys(COMPONENTS, 0))
    table["net"] = table["at_second"] - table["at_first"]
    exact = ["at_first", "at_second", *COMPONENTS, "net"]
    for name in exact:
        table[name] = [int(number) * unit for number in table[name]]
    return table.reset_index()[["plot", "from_census", "to_census", *exact]]


def _totals(stems: pd.DataFrame, amount: pd.Series) -> pd.DataFrame:
    """Sums of each plot's censuses beside those of the next, independent of any fate."""
    counted = amount.where(stems["measured"], 0)
    grouped = stems.assign(amount=counted).groupby(["plot", "visit"], observed=True)
    sums = grouped.agg(census=("census", "first"), amount=("amount", "sum")).reset_index()
    after = sums.assign(visit=sums["visit"] - 1)
    both = sums.merge(after, on=["plot", "visit"], suffixes=("_1", "_2"))
    names = {
        "census_1": "from_census",
        "census_2": "to_census",
        "amount_1": "at_first",
        "amount_2": "at_second",
    }
    return both.rename(columns=names).set_index(["plot", "visit"])


def demographic_rates(stems: pd.DataFrame) -> pd.DataFrame:
    """Annual mortality and recruitment of each plot and pair of censuses (as Condit's).

    Mortality (ln N - ln S)/t, recruitment (ln N2 - ln S)/t with N the first census's stems whose
    fate by nature is known (survivors S and dead), N2 survivors and new stems, t the mean years
    of the survivors. Cut, lost, found-again and unmeasured stems are counted apart and left out.
    """
    rows = fates(stems, whole_basal_area(stems))
    # A live stem that merely got no diameter did survive.
    fate = rows["fate"].where(~((rows["fate"] == "unmeasured") & rows["alive_2"]), "alive")
    counts = pd.crosstab([rows["plot"], rows["visit"]], fate)
    names = ["survivor_growth", "alive", "mortality", "ingrowth", "cut", "lost"]
    counts = counts.reindex(columns=[*names, "found_again", "unmeasured"], fill_value=0)
    counts["survivors"] = counts.pop("survivor_growth") + counts.pop("alive")
    dates = rows.assign(years=years_between(rows["date_1"], rows["date_2"]))
    years = dates.groupby(["plot", "visit"], observed=True)["years"].mean()
    table = _totals(stems, whole_basal_area(stems)).join(counts).join(years).reset_index()
    table = table.rename(columns={"mortality": "died", "ingrowth": "recruits"})
    table["at_risk"] = table["survivors"] + table["died"]
    table["mortality_year"] = log_rate(table["at_risk"], table["survivors"], table["years"])
    after = table["survivors"] + table["recruits"]
    table["recruitment_year"] = log_rate(after, table["survivors"], table["years"])
    return table[
        [
            "plot", "from_census", "to_census", "years", "at_risk", "survivors", "died",
            "recruits", "cut", "lost", "found_again", "unmeasured", "mortality_year",
            "recruitment_year",
        ]
    ]  # fmt: skip
