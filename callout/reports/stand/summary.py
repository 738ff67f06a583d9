"""The stand by plot and census: stems, basal area, mean diameters, density, size classes.

Only live stems with a diameter are summed; how many lacked one is told beside. Per hectare and per
acre need the plot's area, and are NaN without it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.stand.census import codes_of
from callout.reports.stand.columns import LIVE, check_plots
from callout.reports.stand.formulas import (
    ACRES_PER_HECTARE,
    CM_PER_INCH,
    FT2_ACRE_PER_M2_HA,
    basal_area_m2,
    quadratic_mean,
    stand_density_index,
)


def stand_summary(stems: pd.DataFrame, plots: pd.DataFrame) -> pd.DataFrame:
    """One row a plot and census of ``stems`` (from ``stem_census``).

    ``stems`` (live, measured), ``unmeasured`` (live without a diameter), ``basal_area_m2``,
    ``mean_diameter_cm``, ``qmd_cm``, ``qmd_in``, and where the area is known ``stems_per_ha``,
    ``stems_per_acre``, ``basal_area_m2_ha``, ``basal_area_ft2_acre``, ``sdi_per_ha``,
    ``sdi_per_acre`` (Reineke, from the quadratic mean).
    """
    check_plots(plots)
    code = codes_of(stems, ["plot", "census"])
    groups, first, code = np.unique(code, return_index=True, return_inverse=True)
    measured = stems["measured"].to_numpy(dtype=bool)
    size = np.where(measured, stems["diameter_cm"].to_numpy(dtype=np.float64), 0.0)
    live = (stems["status"] == LIVE).to_numpy(dtype=bool)
    count = np.bincount(code, measured, len(groups))
    squares = np.bincount(code, size * size, len(groups))
    table = stems[["plot", "census"]].iloc[first].reset_index(drop=True)
    table["stems"] = count.astype(np.int64)
    table["unmeasured"] = np.bincount(code, live & ~measured, len(groups)).astype(np.int64)
    table["basal_area_m2"] = np.bincount(code, basal_area_m2(size), len(groups))
    with np.errstate(invalid="ignore"):
        table["mean_diameter_cm"] = np.bincount(code, size, len(groups)) / count
    table["qmd_cm"] = quadratic_mean(squares, count)
    table["qmd_in"] = table["qmd_cm"] / CM_PER_INCH
    table = _per_area(table, plots)
    return table.sort_values(["plot", "census"], kind="stable").reset_index(drop=True)


def _per_area(table: pd.DataFrame, plots: pd.DataFrame) -> pd.DataFrame:
    area = area_of(table["plot"], plots)
    table["area_ha"] = area
    table["stems_per_ha"] = table["stems"] / area
    table["stems_per_acre"] = table["stems_per_ha"] / ACRES_PER_HECTARE
    table["basal_area_m2_ha"] = table["basal_area_m2"] / area
    table["basal_area_ft2_acre"] = table["basal_area_m2_ha"] * FT2_ACRE_PER_M2_HA
    table["sdi_per_ha"] = stand_density_index(table["stems_per_ha"], table["qmd_cm"])
    table["sdi_per_acre"] = table["sdi_per_ha"] / ACRES_PER_HECTARE
    return table


def area_of(plot: pd.Series, plots: pd.DataFrame) -> pd.Series:
    """Hectares of each row's plot, NaN where unknown."""
    known = plots.set_index("plot")["area_ha"].astype("float64")
    return plot.astype(object).map(known).astype("float64")


def diameter_classes(stems: pd.DataFrame, plots: pd.DataFrame, width_cm: float = 5) -> pd.DataFrame:
    """Live measured stems a plot, census and class [lower, upper) of ``width_cm``.

    ``class_from_cm``, ``class_to_cm``, ``stems``, ``stems_per_ha``, ``basal_area_m2``.
    """
    if not width_cm > 0:
        raise OperatorError(f"class width {width_cm} cm must be above zero")
    live = stems[stems["measured"]]
    # A hair is added so that 30.0 held as 29.999… by binary floats falls in the class from 30.
    lower = np.floor(live["diameter_cm"] / width_cm + 1e-9) * width_cm
    grouped = live.assign(class_from_cm=lower, area=basal_area_m2(live["diameter_cm"])).groupby(
        ["plot", "census", "class_from_cm"], observed=True
    )
    table = grouped.agg(stems=("area", "size"), basal_area_m2=("area", "sum")).reset_index()
    table.insert(3, "class_to_cm", table["class_from_cm"] + width_cm)
    table.insert(5, "stems_per_ha", table["stems"] / area_of(table["plot"], plots))
    return table


def by_treatment(
    summary: pd.DataFrame, plots: pd.DataFrame, figure: str, keys: Sequence[str] = ("census",)
) -> pd.DataFrame:
    """Treatments side by side: mean of ``figure`` over plots in each census and treatment.

    ``summary`` has a row a plot and ``keys``: a census, or the two that growth lies between.

    Plots are the replicates: ``plots`` counts them, ``standard_error`` is NaN with fewer than two.
    """
    if figure not in summary.columns:
        raise OperatorError(f"no figure {figure!r} in the summary")
    treatment = plots.set_index("plot")["treatment"].replace("", "none told")
    named = summary.assign(treatment=summary["plot"].astype(object).map(treatment))
    grouped = named.groupby([*keys, "treatment"], observed=True)[figure]
    table = grouped.agg(plots="count", mean="mean", spread="std").reset_index()
    table["standard_error"] = table.pop("spread") / np.sqrt(table["plots"])
    return table


def against_control(
    table: pd.DataFrame, control: str, keys: Sequence[str] = ("census",)
) -> pd.DataFrame:
    """Rows of ``by_treatment`` less the control of the same census, with the difference's error."""
    if control not in set(table["treatment"]):
        known = ", ".join(sorted(set(table["treatment"])))
        raise OperatorError(f"no treatment {control!r}: there are {known}")
    rest = table[table["treatment"] != control]
    base = table[table["treatment"] == control].drop(columns="treatment")
    joined = rest.merge(base, on=list(keys), suffixes=("", "_control"))
    joined["difference"] = joined["mean"] - joined["mean_control"]
    joined["difference_error"] = np.hypot(
        joined["standard_error"], joined["standard_error_control"]
    )
    return joined
