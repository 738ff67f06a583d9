"""Growth out of bounds by the plot's own growth: not by one limit for every stand.

Invented plots; the sizes are centimetres, the visits five years apart.
"""

from __future__ import annotations

from contextlib import closing
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from station_tools import BEGAN, at_work, clock

from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.units import Unit
from callout.journal.folder import make_survey
from callout.office.desk_growth import Growth
from callout.office.desk_index import DeskIndex

VISITS = (date(2011, 6, 2), date(2016, 6, 2), date(2021, 6, 2))


def stand(mm_a_year: int) -> tuple[Tree, ...]:
    """Twenty trees that all grew about so much, give or take a tenth."""
    trees = []
    for at in range(20):
        sizes = [Decimal(20 + at) + Decimal(visit * mm_a_year) / 2 for visit in range(3)]
        sizes = [size + Decimal((at + visit) % 3 - 1) / 10 for visit, size in enumerate(sizes)]
        past = (
            PastMeasurement(on, size, Unit.CENTIMETRE)
            for on, size in zip(VISITS, sizes, strict=True)
        )
        trees.append(Tree("K1", str(at + 1), "beech", tuple(past)))
    return tuple(trees)


@pytest.mark.parametrize(
    ("mm_a_year", "grown_cm", "told"),
    [
        (2, "1.0", ""),
        (2, "5.0", "too fast"),  # 10 mm a year: usual elsewhere
        (14, "7.0", ""),  # 14 mm a year: too fast elsewhere
        (14, "0.2", "too slow"),
        (2, "-3.0", "shrunk"),
    ],
)
def test_the_plots_own_growth_decides(
    tmp_path: Path, mm_a_year: int, grown_cm: str, told: str
) -> None:
    trees = stand(mm_a_year)
    was = trees[6].past[-1].value
    made = make_survey(tmp_path / "fen", trees, PlotSettings(plot=""), {}, BEGAN.isoformat())
    with at_work(made, None, clock()) as station:
        station.open("K1", "R.V.")
        station.type(f"7 {was + Decimal(grown_cm)}")
        for _ in range(3):
            if station.memory.pending:
                station.press("accept")
    with closing(DeskIndex(made.path)) as index:
        Growth(index).judge("K1")
        found = index.found("growth")
        assert len(found) == bool(told)
        if told:
            grown = was + Decimal(grown_cm)
            says = f"{told}: {was} cm on 2021-06-02, then {grown} cm on 2026-06-02"
            assert index.grown(found[0]) == says
