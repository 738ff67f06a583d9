"""How the stand's summary grows with measurements: a table of 10^4 to 10^7 generated rows.

``python benchmarks/stand_scale.py [--largest 7]``: each size runs in a process of its own, so that
its peak memory is its own; seconds are medians of three runs (one for 10^7), frame made beforehand.
``us each`` and ``ratio`` are of processor time, which a busy machine disturbs less.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import time
from decimal import Decimal

import numpy as np
import pandas as pd

from callout.reports.stand.census import stem_census
from callout.reports.stand.history import PlotFacts
from callout.reports.stand.summary import stand_summary

CENSUSES = 5
TREES_A_PLOT = 500


def generated(rows: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Invented measurements: plots of 500 trees, five censuses, 2 % dead at each, shuffled."""
    rng = np.random.default_rng(1)
    trees = rows // CENSUSES
    tree = np.tile(np.arange(trees), CENSUSES)
    census = np.repeat(np.arange(CENSUSES), trees)
    tenths = np.clip(np.rint(rng.gamma(3, 80, trees)[tree] + 20 * census), 25, 2999).astype(int)
    dead = (rng.random(trees) * 50)[tree] < census
    names = np.array([f"P{at:05d}" for at in range(trees // TREES_A_PLOT + 1)])
    plot = pd.Categorical.from_codes(tree // TREES_A_PLOT, names)
    exact = np.array([Decimal(at).scaleb(-1) for at in range(3000)], dtype=object)
    dates = pd.to_datetime([f"{2005 + 5 * at}-07-01" for at in range(CENSUSES)]).to_numpy()
    frame = pd.DataFrame(
        {
            "plot": plot,
            "tag": pd.Categorical.from_codes(
                tree % TREES_A_PLOT, [str(at) for at in range(1, TREES_A_PLOT + 1)]
            ),
            "stem": pd.Categorical.from_codes(np.zeros(len(tree), int), [""]),
            "species": pd.Categorical.from_codes(tree % 2, ["Quercus rubra", "Pinus strobus"]),
            "date": dates[census] + (tree % 20).astype("timedelta64[D]"),
            "value": exact[tenths],
            "unit": pd.Categorical.from_codes(np.zeros(len(tree), int), ["cm"]),
            "diameter_cm": np.where(dead, np.nan, tenths / 10),
            "status": pd.Categorical.from_codes(dead.astype(int), ["live", "dead standing"]),
            "measured_height_m": 1.3,
            "source": pd.Categorical.from_codes(np.zeros(len(tree), int), ["callout"]),
        }
    )
    frame = frame.iloc[rng.permutation(len(frame))].reset_index(drop=True)
    plots = pd.DataFrame(
        {"plot": names, "area_ha": 1.0, "unit": "cm", "breast_height_m": 1.3, "treatment": ""}
    )
    return frame, plots


def measure(rows: int) -> dict[str, float]:
    """Seconds (median) and peak memory in GB of one size, in this process."""
    frame, plots = generated(rows)
    taken, worked = [], []
    for _ in range(1 if rows >= 10_000_000 else 3):
        started, at_work = time.perf_counter(), time.process_time()
        table = stand_summary(stem_census(frame), PlotFacts(plots))
        taken.append(time.perf_counter() - started)
        worked.append(time.process_time() - at_work)
    # 2 % of stems are dead at each census but the first.
    assert table["stems"].sum() == frame["diameter_cm"].notna().sum()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    return {
        "seconds": statistics.median(taken),
        "processor": statistics.median(worked),
        "peak_gb": peak,
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--largest", type=int, default=7, help="power of ten to stop at")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.one:
        print(json.dumps(measure(args.one)))
        return
    print(
        f"{'measurements':>12} {'seconds':>9} {'processor s':>11} {'us each':>8} {'ratio':>6} "
        f"{'peak GB':>8}"
    )
    before = None
    for power in range(4, args.largest + 1):
        command = [sys.executable, __file__, "--one", str(10**power)]
        found = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
        worked = found["processor"]
        ratio = f"{worked / before:6.1f}" if before else "      "
        each = worked / 10**power * 1e6
        print(
            f"{10**power:12,} {found['seconds']:9.3f} {worked:11.3f} {each:8.2f} {ratio} "
            f"{found['peak_gb']:8.2f}"
        )
        before = worked


if __name__ == "__main__":
    main()
