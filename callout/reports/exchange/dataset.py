"""Everything that an open format carries: measurements, plots, trees, notes and metadata.

One value for all formats, so that none can forget a part. No files here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from callout.core.model import Plot
from callout.reports.exchange.metadata import About

# Further tables of texts: name, the words for one row, and the main column.
FURTHER_TABLES = {
    "trees": ("tree of the roster", "tag"),
    "notes": ("note", "words"),
    "history": ("what held from a day", "from_day"),
}


@dataclass(frozen=True)
class Dataset:
    """The two frames and what goes with them.

    ``further``: tables by name, texts with a column ``plot``; ``known``: whole plots, from a
    survey; ``about``: the metadata.
    """

    measurements: pd.DataFrame
    plots: pd.DataFrame
    further: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    known: Mapping[str, Plot] = field(default_factory=dict)
    about: About | None = None

    @property
    def trees(self) -> pd.DataFrame | None:
        """The roster's trees, measured or not; None if the format has none."""
        return self.further.get("trees")
