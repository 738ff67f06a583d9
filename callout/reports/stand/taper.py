"""Diameters brought to one height of measurement, by a settable rate that is an ASSUMPTION.

Plots measured at 1.37 m and at 1.30 m differ by a little taper. The source at hand says the mean
difference "averages around 1 percent" (Van Hooser and Chojnacky 1984, USDA research paper INT-327,
summary); its equation could not be read, so none is used. The default is that average, spread
evenly over the 7 cm; set 0 to leave diameters as measured. What was measured is never changed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.stand.formulas import Floats, basal_area_m2

SPAN_M = 0.07  # between 1.30 m and 1.37 m
_SLACK_M = 0.005
ASSUMPTION = (
    "An assumption, not a published equation: diameter changes by {percent:g} % over the 7 cm "
    "between 1.30 m and 1.37 m, in proportion to the distance."
)


@dataclass(frozen=True)
class Taper:
    """``percent`` of the diameter over 7 cm of stem; applied no further than ``reach_m``."""

    percent: float = 1.0
    reach_m: float = 0.15

    def __post_init__(self) -> None:
        """Raises OperatorError for a rate no stem has."""
        if not 0 <= self.percent <= 10:
            raise OperatorError(f"taper {self.percent} % over 7 cm is no stem's: give 0 to 10")

    @property
    def told(self) -> str:
        """The assumption in words, for a report."""
        return ASSUMPTION.format(percent=self.percent)


def at_height(
    diameter_cm: object, measured_height_m: object, target_m: Floats | float, taper: Taper
) -> Floats:
    """Diameters in cm at ``target_m``, from those at ``measured_height_m``; arrays of one shape.

    Beyond the taper's reach, or at an unknown height, a diameter stays as it was measured.
    """
    size = np.asarray(diameter_cm, dtype=np.float64)
    moved = moved_by(measured_height_m, target_m, taper)
    return np.asarray(size * (1 + taper.percent / 100 * moved / SPAN_M), dtype=np.float64)


def moved_by(height_m: object, target_m: Floats | float, taper: Taper) -> Floats:
    """Metres by which each diameter is moved up or down; 0 if it stays as measured."""
    above = np.asarray(height_m, dtype=np.float64) - target_m
    # False for NaN; differences too small for a tape count as none.
    usable = (np.abs(above) <= taper.reach_m) & (np.abs(above) > _SLACK_M)
    return np.where(usable, above, 0.0)


def common_heights(stems: pd.DataFrame) -> dict[str, float]:
    """By plot, the height at which most of its live stems were measured.

    Plots without heights are left out. Each plot uses its own, since nothing needs converting
    within it if its heights agree.
    """
    live = stems.loc[stems["measured"], ["plot", "measured_height_m"]].dropna()
    live = live.assign(plot=live["plot"].astype(object), height=live["measured_height_m"].round(2))
    counts = live.groupby(["plot", "height"]).size().rename("stems").reset_index()
    counts = counts.sort_values(["plot", "stems", "height"], ascending=[True, False, True])
    first = counts.drop_duplicates("plot")
    return dict(zip(first["plot"].astype(str), first["height"].astype(float), strict=True))


def on_one_basis(stems: pd.DataFrame, target_m: Floats | float, taper: Taper) -> pd.DataFrame:
    """``stems`` with ``diameter_cm`` at ``target_m`` (of all, or by row), and ``measured_cm``."""
    size = stems["diameter_cm"].to_numpy(dtype=np.float64)
    basis = at_height(size, stems["measured_height_m"], target_m, taper)
    return stems.assign(measured_cm=size, diameter_cm=basis)


def effect(
    stems: pd.DataFrame, target_m: Floats | float, taper: Taper, percent_sd: float = 0.5
) -> pd.DataFrame:
    """The effect of the assumption: basal area per plot and census as measured, and at one height.

    ``target_m`` is one height, or each row's. ``as_measured_m2``, ``at_one_height_m2``,
    ``change_percent`` and its bounds if the taper is off by 1.96 times ``percent_sd``. Only plots
    with a stem that is converted.
    """
    measured = stems["measured"].to_numpy(dtype=bool)
    live = stems[measured]
    target = np.broadcast_to(np.asarray(target_m, dtype=np.float64), len(stems))[measured]
    moved = moved_by(live["measured_height_m"], target, taper)
    size = live["diameter_cm"].to_numpy(dtype=np.float64)
    parts = live[["plot", "census"]].assign(
        as_measured_m2=basal_area_m2(size), brought=(moved != 0).astype(np.int64)
    )
    off = 1.96 * percent_sd
    for name, percent in (
        ("at_one_height_m2", taper.percent),
        ("low", taper.percent - off),
        ("high", taper.percent + off),
    ):
        parts[name] = basal_area_m2(size * (1 + percent / 100 * moved / SPAN_M))
    table = parts.groupby(["plot", "census"], observed=True).sum().reset_index()
    table = table[table.pop("brought") > 0].reset_index(drop=True)
    shares = [
        100 * (table[name] / table["as_measured_m2"] - 1)
        for name in ("at_one_height_m2", "low", "high")
    ]
    table["change_percent"] = shares[0]
    table["change_low_percent"] = np.minimum(shares[1], shares[2])
    table["change_high_percent"] = np.maximum(shares[1], shares[2])
    return table.drop(columns=["low", "high"])
