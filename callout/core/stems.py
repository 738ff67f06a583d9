"""One diameter for a tree of several stems: the quadratic sum, so that basal area is kept."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, localcontext

from callout.core.errors import OperatorError
from callout.core.units import EXACT, refuse_floats


def joined_diameter(stems: Sequence[Decimal]) -> Decimal:
    """The diameter of one stem with the basal area of all ``stems``: sqrt of the sum of squares.

    All in one unit; to 50 digits, unrounded. Common practice. Raises OperatorError for none, or
    for one not above zero.
    """
    if not stems:
        raise OperatorError("no stem to join: a tree has at least one")
    for stem in stems:
        refuse_floats(stem)
        if not stem.is_finite() or stem <= 0:
            raise OperatorError(f"stem of {stem}: a diameter is above zero")
    if len(stems) == 1:
        return stems[0]
    with localcontext(EXACT):
        return sum((stem * stem for stem in stems), Decimal(0)).sqrt()
