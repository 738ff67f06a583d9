"""Fluxes per hectare and year: growth of survivors, ingrowth, mortality, cut, and the rest.

They are the components of change over area and years, so they add up to the change. Where a plot's
area changed, what cannot be separated is left empty, with the reason. Sums only.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

FLUXES = ("growth", "ingrowth", "mortality", "cut", "not_followed", "scope", "net")
LARGER = "the plot was enlarged: who is new cannot be told from who was outside"
SMALLER = "the plot was made smaller: what left it was not followed"
NO_AREA = "the plot's area is not known"


def fluxes(
    change: pd.DataFrame, censuses: pd.DataFrame, pool: str, per_unit: float = 1.0
) -> pd.DataFrame:
    """``change`` (from ``components``) per hectare and year, each amount times ``per_unit``.

    ``censuses`` tells the ``area_ha`` of each plot and census, and the ``years`` to it.
    ``plot``, ``from_census``, ``to_census``, ``years``, ``pool``, the FLUXES (mortality and cut as
    positive amounts), ``why``. ``net`` is growth + ingrowth + not followed + scope - mortality -
    cut.
    """
    keys = ["plot", "census"]
    first, second = (
        change[["plot", name]].set_axis(keys, axis=1).merge(censuses, how="left", on=keys)
        for name in ("from_census", "to_census")
    )
    table = change[["plot", "from_census", "to_census"]].assign(years=second["years"].array)
    area = [ends["area_ha"].to_numpy(dtype=np.float64) for ends in (first, second)]
    per = per_unit / (area[0] * table["years"].to_numpy())
    given = {name: change[name].astype("float64").to_numpy() for name in change.columns[3:]}
    amounts = {
        "growth": given["survivor_growth"],
        "ingrowth": given["ingrowth"],
        "mortality": given["mortality"],
        "cut": given["cut"],
        "not_followed": given["found_again"] - given["lost"] - given["unmeasured"],
        "scope": given["scope"],
        "net": given["net"],
    }
    larger, smaller = area[1] > area[0] * (1 + 1e-9), area[1] < area[0] * (1 - 1e-9)
    table["pool"] = pool
    for name, amount in amounts.items():
        unknown = smaller | (larger & (name in ("ingrowth", "not_followed", "scope", "net")))
        table[name] = np.where(unknown, np.nan, amount * per)
    unknown = np.isnan(area[0]) | np.isnan(area[1])
    table["why"] = np.select([unknown, larger, smaller], [NO_AREA, LARGER, SMALLER], "")
    return table
