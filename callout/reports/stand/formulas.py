"""Formulas of stand measurement, one per function, in floats or arrays of floats.

Each names its unit and source. No data frames here, and no stored readings: results are derived
figures. Factors follow from definitions (circle, international inch, hectare, acre).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

CM_PER_INCH = 2.54  # international yard and pound agreement, 1959
M_PER_FOOT = 0.3048
ACRES_PER_HECTARE = 10_000 / (43_560 * M_PER_FOOT**2)  # an acre is 43,560 square feet
FT2_PER_M2 = 1 / M_PER_FOOT**2
# Square feet per acre for one square metre per hectare.
FT2_ACRE_PER_M2_HA = FT2_PER_M2 / ACRES_PER_HECTARE
REINEKE_POWER = 1.605  # Reineke 1933
REINEKE_CM = 25.4
DAYS_A_YEAR = 365.25  # as in the rates of R. Condit and co-workers (public code)


def basal_area_m2(diameter_cm: ArrayLike) -> Floats:
    """Cross-section in m2 of stems of ``diameter_cm``: pi d2 / 40000."""
    diameter = np.asarray(diameter_cm, dtype=np.float64)
    return np.asarray(math.pi / 40_000 * diameter * diameter, dtype=np.float64)


def quadratic_mean(sum_of_squares: Any, count: Any) -> Any:
    """Quadratic mean diameter sqrt(sum d2 / n), in the unit of d; NaN if n is 0."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.sqrt(np.divide(sum_of_squares, count))


def stand_density_index(stems_per_ha: Any, qmd_cm: Any) -> Any:
    """Stand density index, stems per hectare at 25.4 cm: N (QMD / 25.4)^1.605 (Reineke 1933)."""
    return stems_per_ha * (qmd_cm / REINEKE_CM) ** REINEKE_POWER


def log_rate(later: Any, earlier: Any, years: Any) -> Any:
    """(ln later - ln earlier) / years, a year; NaN if either is 0.

    Relative growth with sizes; recruitment with (N2, survivors); mortality with
    (N1, survivors). R. Condit and co-workers (public code).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = (np.log(later) - np.log(earlier)) / years
    return np.where(np.isfinite(rate), rate, np.nan)[()]


def years_between(earlier: Any, later: Any) -> Any:
    """Years of 365.25 days between two dates or columns of dates."""
    return (later - earlier) / np.timedelta64(86_400, "s") / DAYS_A_YEAR
