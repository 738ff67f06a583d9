"""The height limits of the next visit, if not the default reach of a standing person.

As in the previous survey's ``[checks]``, and never below what was measured there: it must be
possible to call the height that is in the roster.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path

from callout.core.checking.checks_limits import Limits
from callout.core.heights import HIGHEST_M
from callout.core.model import Tree
from callout.core.units import parse_decimal
from callout.journal.folder import SurveyFolder
from callout.reports.exchange.cells import told
from callout.reports.exchange.dataset import Dataset
from callout.survey.check_settings import rules_from

_ROSTER = "measured_at_m"


def next_reach(
    taken: Dataset, source: Path, trees: Iterable[Tree], at_least: Decimal
) -> dict[str, Limits]:
    """The height limits by plot, if not the default; other limits are at defaults.

    ``source`` is where ``taken`` was read from, and ``at_least`` the limit a person asked for.
    """
    highest = _measured(taken, trees)
    before = _before(taken, source)
    usual, found = Limits(), dict[str, Limits]()
    for plot in dict.fromkeys(str(name) for name in taken.plots["plot"]):
        own = before.get(plot, usual)
        top = max(own.highest_m, at_least, highest.get(plot, HIGHEST_M))
        if (own.lowest_m, top) != (usual.lowest_m, usual.highest_m):
            found[plot] = Limits(lowest_m=own.lowest_m, highest_m=top)
    return found


def _before(taken: Dataset, source: Path) -> dict[str, Limits]:
    folder = SurveyFolder(source)
    if not folder.settings.is_file():
        return {}
    checks = folder.config().other.get("checks", {})
    return {plot: one.limits for plot, one in rules_from(checks, taken.known, ()).items()}


def _measured(taken: Dataset, trees: Iterable[Tree]) -> dict[str, Decimal]:
    """The greatest height of each plot, in its measurements and its roster."""
    heights = taken.measurements[["plot", "measured_height_m"]].dropna()
    pairs = [(str(plot), told(height)) for plot, height in heights.itertuples(index=False)]
    pairs += [(tree.plot, tree.extra[_ROSTER]) for tree in trees if _ROSTER in tree.extra]
    found: dict[str, Decimal] = {}
    for plot, text in pairs:
        found[plot] = max(found.get(plot, HIGHEST_M), parse_decimal(text))
    return found
