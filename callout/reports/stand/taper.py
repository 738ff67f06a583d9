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
ASSUMPTION = (
    "An assumption, not a published equation: diameter changes by {percent:g} % over the 7 cm "
    "between 1.30 m and 1.37 m, in proportion to the distance."
)


@dataclass(frozen=True)
class Taper:
    """``percent`` of the diameter over 7 cm of stem; used no further than ``reach_m``."""

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
    diameter_cm: object, measured_height_m: object, target_m: float, taper: Taper
) -> Floats:
    """Diameters in cm at ``target_m``, from those at ``measured_height_m``; arrays of one shape.

    Farther than the taper's reach, or at an unknown height, a diameter stays as it was measured.
    """
    size = np.asarray(diameter_cm, dtype=np.float64)
    above = np.asarray(measured_height_m, dtype=np.float64) - target_m
    usable = np.abs(above) <= taper.reach_m  # False for NaN
    factor = np.where(usable, 1 + taper.percent / 100 * above / SPAN_M, 1.0)
    return np.asarray(size * factor, dtype=np.float64)


def on_one_basis(stems: pd.DataFrame, target_m: float, taper: Taper) -> pd.DataFrame:
    """``stems`` with ``diameter_cm`` at ``target_m`` and ``measured_cm`` as it was."""
    size = stems["diameter_cm"].to_numpy(dtype=np.float64)
    basis = at_height(size, stems["measured_height_m"], target_m, taper)
    return stems.assign(measured_cm=size, diameter_cm=basis)


def effect(stems: pd.DataFrame, target_m: float, taper: Taper) -> pd.DataFrame:
    """What the assumption does: basal area a plot and census as measured, at one height, change.

    ``as_measured_m2``, ``at_one_height_m2``, ``change_percent``.
    """
    live = stems[stems["measured"]]
    moved = on_one_basis(live, target_m, taper)
    areas = live[["plot", "census"]].assign(
        as_measured_m2=basal_area_m2(live["diameter_cm"]),
        at_one_height_m2=basal_area_m2(moved["diameter_cm"]),
    )
    table = areas.groupby(["plot", "census"], observed=True).sum().reset_index()
    table["change_percent"] = 100 * (table["at_one_height_m2"] / table["as_measured_m2"] - 1)
    return table
