"""The invented plot in which everything is heard: Harrow Fen, K2, 100 tagged trees, centimetres.

Trees 1 to 60 and 101 to 140, so that short tags begin longer ones. No sound here.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from pathlib import Path

from callout.core.model import PlotSettings, Tree
from callout.core.units import Unit
from callout.grammar.scope import Scope
from callout.journal.folder import SurveyFolder, make_survey
from callout.survey.config import measuring_from

TAGS = tuple(str(number) for number in (*range(1, 61), *range(101, 141)))
LARGEST_CM = Decimal(120)
SCOPE = Scope(frozenset(TAGS), Decimal("1.0"), LARGEST_CM, Unit.CENTIMETRE)


def make_plot(path: Path, at: datetime) -> SurveyFolder:
    """A survey folder of that plot alone; no tree of it was ever measured."""
    measuring = measuring_from(
        "", {"unit": "cm", "largest": str(LARGEST_CM)}, PlotSettings(plot="")
    )
    trees = tuple(Tree("K2", tag) for tag in TAGS)
    return make_survey(path, trees, measuring, {}, at.isoformat())
