"""The stand by plot and census: stems, basal area, mean diameters, density, size classes.

Only live stems with a diameter are summed; the number without one is given beside. Figures per
hectare and per acre need the plot's area, and are NaN without it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from callout.core.errors import OperatorError
from callout.reports.stand.census import codes_of
from callout.reports.stand.columns import LIVE, STANDING, check_plots
from callout.reports.stand.formulas import (
    ACRES_PER_HECTARE,
    CM_PER_INCH,
    FT2_ACRE_PER_M2_HA,
    basal_area_m2,
    quadratic_mean,
    stand_density_index,
)
from callout.reports.stand.history import PlotFacts


def stand_summary(stems: pd.DataFrame, facts: PlotFacts) -> pd.DataFrame:
    """One row per plot and census of ``stems`` (from ``stem_census``).

    ``stems`` (live, measured), ``trees`` they stand on, ``unmeasured`` (live without a diameter),
    ``basal_area_m2``, ``mean_diameter_cm``, ``qmd_cm``, ``qmd_in``, ``treatment`` on that day,
    ``standing_dead_stems`` and ``standing_dead_m2`` (by their last diameter), and where the area on
    that day is known ``stems_per_ha``, ``stems_per_acre``, ``basal_area_m2_ha``,
    ``basal_area_ft2_acre``, ``sdi_per_ha``, ``sdi_per_acre`` (Reineke, from the quadratic mean).
    """
    check_plots(facts.plots)
    code = codes_of(stems, ["plot", "census"])
    groups, first, code = np.unique(code, return_index=True, return_inverse=True)
    measured = stems["measured"].to_numpy(dtype=bool)
    size = np.where(measured, stems["diameter_cm"].to_numpy(dtype=np.float64), 0.0)
    live = (stems["status"] == LIVE).to_numpy(dtype=bool)
    count = np.bincount(code, measured, len(groups))
    squares = np.bincount(code, size * size, len(groups))
    table = stems[["plot", "census", "census_day"]].iloc[first].reset_index(drop=True)
    table["stems"] = count.astype(np.int64)
    table["trees"] = _trees(stems, code, measured, len(groups))
    table["unmeasured"] = np.bincount(code, live & ~measured, len(groups)).astype(np.int64)
    table["basal_area_m2"] = np.bincount(code, basal_area_m2(size), len(groups))
    with np.errstate(invalid="ignore"):
        table["mean_diameter_cm"] = np.bincount(code, size, len(groups)) / count
    table["qmd_cm"] = quadratic_mean(squares, count)
    table["qmd_in"] = table["qmd_cm"] / CM_PER_INCH
    standing = (stems["status"] == STANDING).to_numpy(dtype=bool)
    last = np.where(standing, _last_known(stems), np.nan)
    table["standing_dead_stems"] = np.bincount(code, standing, len(groups)).astype(np.int64)
    dead = np.bincount(code, basal_area_m2(np.nan_to_num(last)), len(groups))
    # A standing dead stem of unknown size would count as nothing.
    untold = np.bincount(code, standing & np.isnan(last), len(groups)) > 0
    table["standing_dead_m2"] = np.where(untold, np.nan, dead)
    on_day = facts.on(table["plot"], table.pop("census_day"))
    table["treatment"] = on_day["treatment"]
    table = _per_area(table, on_day["area_ha"])
    return table.sort_values(["plot", "census"], kind="stable").reset_index(drop=True)


def _trees(
    stems: pd.DataFrame, code: NDArray[Any], measured: NDArray[np.bool_], count: int
) -> NDArray[np.int64]:
    """Live measured trees of each census: stems of one tag are one tree."""
    if (stems["stem"] == "").all():
        return np.bincount(code, measured, count).astype(np.int64)
    tree = codes_of(stems, ["plot", "tag"])[measured]
    once = np.unique(code[measured] * (int(tree.max(initial=0)) + 1) + tree)
    of_census = once // (int(tree.max(initial=0)) + 1)
    return np.bincount(of_census, minlength=count).astype(np.int64)


def _last_known(stems: pd.DataFrame) -> NDArray[np.float64]:
    """The stem's own diameter, else its last one before; rows sorted by stem and census."""
    size = stems["diameter_cm"].to_numpy(dtype=np.float64)
    place = np.where(np.isnan(size), -1, np.arange(len(size)))
    last = np.maximum.accumulate(place) if len(place) else place
    code = stems["stem_code"].to_numpy()
    same = (last >= 0) & (code[last] == code) if len(place) else np.zeros(0, dtype=bool)
    return np.asarray(np.where(same, size[last], np.nan), dtype=np.float64)


def _per_area(table: pd.DataFrame, area: pd.Series) -> pd.DataFrame:
    table["area_ha"] = area
    table["stems_per_ha"] = table["stems"] / area
    table["stems_per_acre"] = table["stems_per_ha"] / ACRES_PER_HECTARE
    table["basal_area_m2_ha"] = table["basal_area_m2"] / area
    table["basal_area_ft2_acre"] = table["basal_area_m2_ha"] * FT2_ACRE_PER_M2_HA
    table["sdi_per_ha"] = stand_density_index(table["stems_per_ha"], table["qmd_cm"])
    table["sdi_per_acre"] = table["sdi_per_ha"] / ACRES_PER_HECTARE
    return table


def areas_of(table: pd.DataFrame, summary: pd.DataFrame) -> pd.Series:
    """Hectares of each row's plot at its census, as ``summary`` tells them; NaN if unknown."""
    keys = ["plot", "census"]
    found = table[keys].merge(summary[[*keys, "area_ha"]], how="left", on=keys)["area_ha"]
    return found.set_axis(table.index).astype("float64")


def diameter_classes(
    stems: pd.DataFrame, summary: pd.DataFrame, width_cm: float = 5
) -> pd.DataFrame:
    """Live measured stems per plot, census and class [lower, upper) of ``width_cm``.

    ``summary`` (``stand_summary``) tells the areas. Columns: ``plot``, ``census``,
    ``class_from_cm``, ``class_to_cm``, ``stems``, ``stems_per_ha``, ``basal_area_m2``.
    """
    if not width_cm > 0:
        raise OperatorError(f"class width {width_cm} cm must be above zero")
    live = stems[stems["measured"]]
    # A tiny amount is added so that 30.0 held as 29.999… falls in the class from 30.
    lower = np.floor(live["diameter_cm"] / width_cm + 1e-9) * width_cm
    grouped = live.assign(class_from_cm=lower, area=basal_area_m2(live["diameter_cm"])).groupby(
        ["plot", "census", "class_from_cm"], observed=True
    )
    table = grouped.agg(stems=("area", "size"), basal_area_m2=("area", "sum")).reset_index()
    table.insert(3, "class_to_cm", table["class_from_cm"] + width_cm)
    table.insert(5, "stems_per_ha", table["stems"] / areas_of(table, summary))
    return table
