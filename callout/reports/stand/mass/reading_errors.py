"""How far one reading is off: a small error of nearly every reading, a large one of a few.

Two parts as in the forest plots of J. Chave and others, Philosophical Transactions of the Royal
Society B 359 (2004) 409-420; the survey's own stems measured again move them as far as their number
allows. Beside them a crew may read alike too much for a whole census. No draws here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.stand.formulas import Floats

_ROUNDS = 60
# The weight of the published figures against the survey's own pairs (an assumption).
PRIOR_PAIRS = 10
PRIOR_READINGS = 40


@dataclass(frozen=True)
class ErrorModel:
    """Standard deviations of one diameter, cm, and where they are from.

    Of most readings ``constant_cm + proportion * d``; of ``large_share`` of them ``large_cm``, at
    most a third of d. ``crew_cm`` is that of what a crew reads too much through one census.
    """

    constant_cm: float
    proportion: float
    source: str
    large_share: float = 0.05
    large_cm: float = 4.64
    crew_cm: float = 0.1

    def __post_init__(self) -> None:
        """Raises OperatorError for errors that no tape makes."""
        if min(self.constant_cm, self.proportion, self.large_cm, self.crew_cm) < 0:
            raise OperatorError("an error of measurement is below zero: give its size in cm")
        if not 0 <= self.large_share <= 0.5:
            raise OperatorError(f"share of large errors {self.large_share}: give 0 to 0.5")

    def sd_cm(self, diameter_cm: Floats) -> Floats:
        """Standard deviation of the small error of each diameter, cm."""
        return self.constant_cm + self.proportion * diameter_cm

    def large_sd_cm(self, diameter_cm: Floats) -> Floats:
        """Standard deviation of the large error of each diameter, cm."""
        return np.minimum(self.large_cm, diameter_cm / 3)

    def variances(self, diameter_cm: Floats) -> tuple[Floats, Floats]:
        """Variance, cm2, that small errors and that large ones give each reading."""
        small = (1 - self.large_share) * self.sd_cm(diameter_cm) ** 2
        return small, self.large_share * self.large_sd_cm(diameter_cm) ** 2

    @property
    def told(self) -> str:
        """The model in words."""
        return (
            f"{self.constant_cm:.3g} cm + {100 * self.proportion:.2g} % of the diameter for most "
            f"readings, {self.large_cm:.2f} cm for {100 * self.large_share:.1f} % of them"
        )


# Small part 0.006214 d + 0.9036 mm, d in mm (rule for forest censuses of R. Condit and co-workers,
# public code); 0.0062 d + 0.0904 cm for most readings, 4.64 cm for 5 % of them in Chave and others
# 2004, as three public codes give it.
PUBLISHED = ErrorModel(
    0.09036,
    0.006214,
    "published figures of forest plots (Chave and others 2004), since no stems were measured again",
)


def from_repeats(pairs: pd.DataFrame, published: ErrorModel = PUBLISHED) -> ErrorModel:
    """The errors of this survey's own measuring, from pairs (``census.measured_again``).

    The published model scaled to the pairs' differences, and its share and size of large errors
    moved, each as far as the pairs weigh against ``PRIOR_PAIRS`` and ``PRIOR_READINGS``: maximum a
    posteriori of a mixture, by expectation and maximisation. Without pairs, the published model.
    """
    n = len(pairs)
    if not n:
        return published
    squares = pairs["difference_cm"].to_numpy(dtype=np.float64) ** 2
    size = pairs[["first_cm", "second_cm"]].to_numpy(dtype=np.float64).mean(axis=1)
    base = published.sd_cm(size) ** 2
    scale, share, large = 1.0, published.large_share, published.large_cm**2
    for _ in range(_ROUNDS):
        # Neither, one or both readings of a pair may be far off.
        spread = np.stack([2 * scale * base, scale * base + large, np.full(n, 2 * large)])
        weight = np.array([(1 - share) ** 2, 2 * share * (1 - share), share**2])[:, None]
        likely = weight * np.exp(-squares / (2 * spread)) / np.sqrt(spread)
        likely /= np.maximum(likely.sum(axis=0), 1e-300)
        neither, one, both = likely
        small = (neither * squares / (2 * base)).sum()
        scale = float((PRIOR_PAIRS + small) / (PRIOR_PAIRS + neither.sum()))
        far = (one * np.maximum(squares - scale * base, 0)).sum() + (both * squares / 2).sum()
        large = float(
            (PRIOR_PAIRS * published.large_cm**2 + far) / (PRIOR_PAIRS + one.sum() + both.sum())
        )
        expected = published.large_share * PRIOR_READINGS + one.sum() + 2 * both.sum()
        share = float(min(0.5, expected / (PRIOR_READINGS + 2 * n)))
    root = float(np.sqrt(scale))
    return ErrorModel(
        published.constant_cm * root,
        published.proportion * root,
        f"{n} stems measured again in this survey, weighed with published figures (Chave and "
        "others 2004)",
        share,
        float(np.sqrt(large)),
        published.crew_cm,
    )
