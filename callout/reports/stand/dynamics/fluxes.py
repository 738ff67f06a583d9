"""Fluxes per hectare and year: growth of survivors, ingrowth, mortality, cut, and the rest.

They are the components of change over area and years, so they add up to the change. Where a plot's
area changed, what cannot be separated is left empty, with the reason. Sums only.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from callout.reports.stand.mass.biomass import interval_years
from callout.reports.stand.summary import area_of

FLUXES = ("growth", "ingrowth", "mortality", "cut", "not_followed", "scope", "net")
LARGER = "the plot was enlarged: who is new cannot be told from who was outside"
SMALLER = "the plot was made smaller: what left it was not followed"
NO_AREA = "the plot's area is not known"


def fluxes(
    stems: pd.DataFrame,
    change: pd.DataFrame,
    pool: str,
    per_unit: float,
    plots: pd.DataFrame,
    history: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """``change`` (from ``components``) per hectare and year, each amount times ``per_unit``.

    ``plot``, ``from_census``, ``to_census``, ``years``, ``pool``, the FLUXES (mortality and cut as
    positive amounts), ``why``. ``net`` is growth + ingrowth + not followed + scope - mortality -
    cut.
    """
    years = interval_years(stems).rename(columns={"census": "to_census"})
    table = change[["plot", "from_census", "to_census"]].merge(
        years, how="left", on=["plot", "to_census"]
    )
    area = [
        area_of(change.rename(columns={name: "census"}), plots, stems, history).to_numpy()
        for name in ("from_census", "to_census")
    ]
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
