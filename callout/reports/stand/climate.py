"""Growth beside climate: a table of years joined to growth, and a plain correlation.

A correlation of few periods is weak evidence and says nothing of cause; every row carries that
caveat. No files here: the table comes in as a frame.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError

FEWEST_PERIODS = 4
CAVEAT = (
    "A correlation of {n} pairs can arise by chance, lies between {low:.2f} and {high:.2f} with "
    "95 % confidence if periods are independent (they seldom are), and shows no cause."
)


def check_climate(climate: pd.DataFrame) -> pd.DataFrame:
    """Whole-number ``year`` and at least one figure a year. Raises OperatorError otherwise."""
    if "year" not in climate.columns or len(climate.columns) < 2:
        raise OperatorError("the climate table needs a column 'year' and one figure or more")
    table = climate.apply(pd.to_numeric, errors="coerce")
    bad = table["year"].isna() | (table["year"] % 1 != 0)
    if bad.any():
        raise OperatorError(f"row {int(np.argmax(bad)) + 1} of the climate table has no whole year")
    if table["year"].duplicated().any():
        year = int(table["year"][table["year"].duplicated()].iloc[0])
        raise OperatorError(f"year {year} is in the climate table twice: keep one row a year")
    return table.astype({"year": "int64"})


def correlations(periods: pd.DataFrame, climate: pd.DataFrame) -> pd.DataFrame:
    """Pearson's r of growth (``growth.judged_periods``) with the mean of each climate figure over

    the years of the period. ``figure``, ``n`` (periods with a figure for each of their years),
    ``r``, ``low``, ``high`` (Fisher's z, 95 %), ``caveat``; NaN below four periods or where a
    figure does not vary. A growth of five years between two censuses is one pair, not five.
    """
    table = check_climate(climate).set_index("year")
    rows = []
    for figure in table.columns:
        means = [
            table[figure].reindex(range(start + 1, end + 1)).mean(skipna=False)
            for start, end in zip(periods["from_census"], periods["to_census"], strict=True)
        ]
        pairs = pd.DataFrame({"growth": periods["diameter_cm_year"], "climate": means}).dropna()
        rows.append({"figure": figure, **_correlation(pairs.to_numpy(dtype=np.float64))})
    return pd.DataFrame(rows)


def _correlation(pairs: np.ndarray) -> dict[str, object]:
    n = len(pairs)
    if n < FEWEST_PERIODS or (np.ptp(pairs, axis=0) == 0).any():
        caveat = (
            f"{n} periods with both: too few, or one figure does not vary. Growth between two "
            "censuses is one period, however many years it took."
        )
        return {"n": n, "r": math.nan, "low": math.nan, "high": math.nan, "caveat": caveat}
    r = float(np.corrcoef(pairs.T)[0, 1])
    within = min(max(r, -1 + 1e-12), 1 - 1e-12)
    half = NormalDist().inv_cdf(0.975) / math.sqrt(n - 3)
    low, high = math.tanh(math.atanh(within) - half), math.tanh(math.atanh(within) + half)
    caveat = CAVEAT.format(n=n, low=low, high=high)
    return {"n": n, "r": r, "low": low, "high": high, "caveat": caveat}
