"""The invented survey of the demo: site Harrow Fen, three plots, all trees and sizes made up.

Its recording, ``audio_fixtures/walk.flac``, is made by ``audio_fixtures/make_walk.py`` from
synthetic voices; the sidecar there lists what is said and what must be saved.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from callout.core.model import PlotSettings
from callout.core.units import Unit
from callout.journal.folder import SurveyFolder, make_survey
from callout.station.data import data_folder
from callout.survey.config import measuring_from
from callout.survey.roster import read_roster


def make_demo_survey(path: Path, at: datetime) -> SurveyFolder:
    """The demo's survey at ``path``: plot K1 in inches, K2 and K3 in centimetres."""
    measuring = measuring_from("", {"unit": "cm", "largest": "120"}, PlotSettings(plot=""))
    inches = {"unit": "in", "breast_height": "1.37", "largest": "48"}
    plots = {"K1": measuring_from("K1", inches, measuring)}
    roster = data_folder("audio_fixtures") / "harrow_fen.csv"
    trees = read_roster(roster, {"K1": Unit.INCH}, Unit.CENTIMETRE)
    return make_survey(path, trees, measuring, plots, at.isoformat())
