"""A measurements frame as a roster CSV for ``callout new``: one row per tree, with its past.

Columns: plot, tag, species, stems, then date, value, unit, and the same three with a number for
each earlier measurement, the latest first. A roster has no stems: a tree of several gets one row
without its past, and ``stems`` names them. Only live diameters; nothing is converted.
"""

from __future__ import annotations

import pandas as pd

from callout.reports.exchange.cells import told
from callout.reports.stand.columns import LIVE

_FIRST = ["plot", "tag", "species", "stems"]


def roster_frame(measurements: pd.DataFrame) -> pd.DataFrame:
    """One row per tree of ``measurements``; texts only."""
    rows: list[dict[str, str]] = []
    ordered = measurements.sort_values("date", kind="stable")
    # In the order in which the trees stand in the table, which is that of the walk.
    trees = dict(tuple(ordered.groupby(["plot", "tag"], sort=False, observed=True)))
    walk = dict.fromkeys(zip(measurements["plot"], measurements["tag"], strict=True))
    for (plot, tag), own in ((key, trees[key]) for key in walk):
        stems = sorted(set(own["stem"].astype(str)))
        row = {"plot": str(plot), "tag": str(tag), "species": str(own["species"].iloc[-1])}
        row["stems"] = "; ".join(stems) if len(stems) > 1 else stems[0]
        live = own[(own["status"] == LIVE) & own["value"].notna()]
        past = live.iloc[::-1].itertuples() if len(stems) == 1 else ()
        for at, item in enumerate(past, 1):
            number = "" if at == 1 else str(at)
            row[f"date{number}"] = told(item.date)[:10]
            row[f"value{number}"] = told(item.value)
            row[f"unit{number}"] = str(item.unit)
        rows.append(row)
    most = max((len(row) for row in rows), default=len(_FIRST))
    numbers = ["", *(str(at) for at in range(2, 1 + (most - len(_FIRST)) // 3))]
    columns = [*_FIRST, *(f"{name}{at}" for at in numbers for name in ("date", "value", "unit"))]
    return pd.DataFrame(rows, columns=columns, dtype=object).fillna("")
