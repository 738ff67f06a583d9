"""Small surveys for the report tests. Invented data unless a test names its source."""

from __future__ import annotations

from contextlib import contextmanager
from decimal import Decimal

import pandas as pd
import pytest

from callout.reports.figures.style import Drawing

CM = {"in": Decimal("2.54"), "cm": Decimal(1)}
HEIGHT = {"in": 1.37, "cm": 1.30}


@contextmanager
def undrawn():
    """Figures are empty files: for data whose report was drawn before, where its tables count."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Drawing, "in_form", lambda *_: b"")
        yield


def measurement(tag, date, value, unit="cm", **other):
    """One row; ``value`` is text as recorded, or None."""
    exact = None if value is None else Decimal(value)
    row = {
        "plot": "K2",
        "tag": str(tag),
        "stem": "",
        "species": "Quercus rubra",
        "date": pd.Timestamp(date),
        "value": exact,
        "unit": unit,
        "diameter_cm": float("nan") if exact is None else float(exact * CM[unit]),
        "status": "live",
        "measured_height_m": HEIGHT[unit],
        "source": "callout",
    }
    return {**row, **other}


def frame(*rows):
    return pd.DataFrame(list(rows))


def plots(*rows):
    """Rows of (plot, area_ha, unit, treatment)."""
    table = [
        {"plot": name, "area_ha": area, "unit": unit, "breast_height_m": HEIGHT[unit],
         "treatment": treatment}
        for name, area, unit, treatment in rows
    ]  # fmt: skip
    return pd.DataFrame(table)


def plot_history(*rows):
    """Rows of (plot, day, what holds from it)."""
    empty = {
        **dict.fromkeys(("area_ha", "breast_height_m"), float("nan")),
        **dict.fromkeys(
            ("treatment", "graduation", "rounding", "scale", "smallest", "tape_offset"), ""
        ),
    }
    table = [{"plot": name, "from_day": pd.Timestamp(day), **empty, **told}
             for name, day, told in rows]  # fmt: skip
    return pd.DataFrame(table)


def harrow_fen():
    """Two plots, three censuses, every fate once or more."""
    rows = []
    for year, sizes in (
        (2015, ["10.0", "8.2", "12.4", "6.1", "9.9", "7.7"]),
        (2020, ["10.6", "8.1", None, "6.9", None, None]),
        (2025, ["11.3", None, None, "7.4", None, "8.8"]),
    ):
        for tag, value in enumerate(sizes, start=1):
            status = "live"
            if value is None:
                status = {2: "cut", 3: "dead standing", 5: "missing", 6: "live"}[tag]
            row = measurement(tag, f"{year}-08-0{tag}", value, "in", plot="K1", status=status)
            rows.append({**row, "species": "Pinus strobus" if tag % 2 else "Acer rubrum"})
    rows.append(measurement(7, "2020-08-07", "4.0", "in", plot="K1", species="Acer rubrum"))
    rows.append(measurement(7, "2025-08-07", "4.9", "in", plot="K1", species="Acer rubrum"))
    for year, sizes in ((2016, ["25.4", "31.0"]), (2021, ["27.0", "31.9"]), (2025, ["28.1", None])):
        for tag, value in enumerate(sizes, start=1):
            status = "live" if value else "dead down"
            row = measurement(tag, f"{year}-09-1{tag}", value, plot="K2", status=status)
            rows.append(row)
    return frame(*rows), plots(("K1", 0.0405, "in", "thinned"), ("K2", 0.05, "cm", "control"))
