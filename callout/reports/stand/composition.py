"""What the stand is made of: stems and basal area by species at each census."""

from __future__ import annotations

import pandas as pd

from callout.reports.stand.formulas import basal_area_m2
from callout.reports.stand.summary import areas_of


def composition(stems: pd.DataFrame, summary: pd.DataFrame) -> pd.DataFrame:
    """One row per plot, census and species of live measured ``stems``.

    ``stems``, ``basal_area_m2``, ``basal_area_m2_ha`` (by the area in ``summary``, NaN without one)
    and ``share_percent`` of the plot's basal area.
    """
    live = stems[stems["measured"]]
    keys = ["plot", "census", "species"]
    rows = live[keys].assign(area=basal_area_m2(live["diameter_cm"]))
    grouped = rows.groupby(keys, observed=True, sort=True)["area"]
    table = grouped.agg(stems="size", basal_area_m2="sum").reset_index()
    table["basal_area_m2_ha"] = table["basal_area_m2"] / areas_of(table, summary)
    whole = table.groupby(["plot", "census"], observed=True)["basal_area_m2"].transform("sum")
    table["share_percent"] = 100 * table["basal_area_m2"] / whole
    return table
