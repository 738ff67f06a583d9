"""How ``callout report`` grows with measurements: the whole command, on packages and surveys.

``python benchmarks/report_scale.py [--largest 7] [--surveys]``: each size is generated (invented,
as in ``stand_scale.py``), written as a data package (up to a million) and as Parquet and, with
``--surveys``, made a survey whose roster holds them, and reported on by the command in a process of
its own; Parquet by ``--tables-only`` alone. Wall time, processor time of all its processes and peak
memory of the largest; one run each, since the largest takes minutes. ``us each`` is of processor
time, which a busy machine disturbs less.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pandas as pd
import pyarrow.parquet
import stand_scale

from callout.reports.exchange.datapackage import write_package
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.metadata import About
from callout.reports.exchange.rosters import roster_frame

ABOUT = About("generated", "benchmark", "2026-01-01T00:00:00Z")


def sources(folder: Path, rows: int, *, surveys: bool) -> dict[str, Path]:
    """What to report on, by name."""
    measurements, plots = stand_scale.generated(rows)
    found = {"tables": folder / "rows"}
    write_rows(found["tables"], measurements, plots)
    if rows <= 1_000_000:
        found["package"] = folder / "package"
        write_package(found["package"], Dataset(measurements, plots), ABOUT)
    if surveys:
        table, found["survey"] = folder / "roster.csv", folder / "survey"
        roster_frame(measurements).to_csv(table, index=False)
        command = [sys.executable, "-m", "callout", "new", str(found["survey"])]
        subprocess.run([*command, "--trees", str(table)], check=True, capture_output=True)
    return found


def write_rows(folder: Path, measurements: pd.DataFrame, plots: pd.DataFrame) -> None:
    """The Parquet files of an export, without names of rows, which take minutes to make."""
    folder.mkdir()
    codes, exact = pd.factorize(measurements["value"])
    value = pd.Categorical.from_codes(codes, [format(one, "f") for one in exact])
    rows = measurements.assign(value=value, date=measurements["date"].astype("datetime64[us]"))
    for name, table in (("measurements", rows), ("plots", plots)):
        made = pyarrow.Table.from_pandas(table, preserve_index=False)
        pyarrow.parquet.write_table(made, folder / f"{name}.parquet")


def reported(source: Path, out: Path) -> tuple[float, float, float]:
    """Wall seconds, processor seconds and peak GB of the command, which must succeed."""
    started = time.perf_counter()
    options = ["--large", *(["--tables-only"] if source.name == "rows" else [])]
    command = [sys.executable, "-m", "callout", "report", str(source), "--out", str(out), *options]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"the report ended with {process.returncode}")
    wall = time.perf_counter() - started
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024**2


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--largest", type=int, default=5, help="power of ten to stop at")
    parser.add_argument("--surveys", action="store_true", help="surveys too")
    args = parser.parse_args()
    print(
        f"{'measurements':>12} {'of':>8} {'seconds':>8} {'processor s':>11} {'us each':>8} peak GB"
    )
    for power in range(4, args.largest + 1):
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder)
            # Made elsewhere: a process's peak counts what its parent held when it began.
            with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
                found = pool.submit(sources, place, 10**power, surveys=args.surveys).result()
            for name, source in found.items():
                wall, worked, peak = reported(source, place / f"out-{name}")
                each = worked / 10**power * 1e6
                print(
                    f"{10**power:12,} {name:>8} {wall:8.1f} {worked:11.1f} {each:8.1f} {peak:7.2f}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
