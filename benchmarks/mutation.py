"""Mutation testing of the parts a wrong value could come from: who notices a changed line?

    python benchmarks/mutation.py units rounding session grammar --minutes 60 --at-most 200

copies the checkout (the mutants are made in the copy), lets cosmic-ray make its mutants of each
area, runs a seeded sample of them (all, where they fit) against the area's own tests, and lists
the survivors. Takes hours in full; what was run, and why each survivor survives, stands in
docs/mutation.md.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Area:
    """Modules that are changed, and the tests that should notice."""

    modules: tuple[str, ...]
    tests: tuple[str, ...]


AREAS = {
    "units": Area(("callout/core/units.py",), ("tests/core/test_units.py",)),
    "rounding": Area(
        ("callout/core/rounding.py",), ("tests/core/test_rounding.py", "tests/core/test_units.py")
    ),
    "session": Area(("callout/session",), ("tests/session",)),
    "grammar": Area(
        ("callout/grammar",),
        ("tests/grammar/test_phrases.py", "tests/grammar/test_scope.py",
         "tests/grammar/test_nothing_unsaid.py"),
    ),
}  # fmt: skip
CONFIG = """[cosmic-ray]
module-path = [{modules}]
timeout = 90.0
excluded-modules = []
test-command = "{python} -m pytest -q -x -p no:cacheprovider {tests}"

[cosmic-ray.distributor]
name = "local"
"""


def cosmic_ray(copy: Path, *arguments: str, limit_s: float | None = None) -> str:
    """Run cosmic-ray in the copy; what it printed."""
    program = Path(sys.executable).with_name("cosmic-ray")
    try:
        done = subprocess.run(
            [str(program), *arguments], cwd=copy, capture_output=True, text=True, check=True,
            env={**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"},
            timeout=limit_s,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return ""
    return done.stdout


def sample(session: Path, at_most: int, seed: int) -> int:
    """Leave a seeded sample of the mutants; how many there were to draw from."""
    with closing(sqlite3.connect(session)) as database:
        jobs = [row[0] for row in database.execute("SELECT job_id FROM work_items ORDER BY job_id")]
        # Job numbers are drawn anew each time: order by what the mutant is.
        keyed = database.execute(
            "SELECT module_path, operator_name, occurrence, job_id FROM mutation_specs"
        ).fetchall()
        # Nothing here joins bits: what | joins are types, in annotations that nobody runs.
        ordered = [row[3] for row in sorted(keyed) if "Operator_BitOr_" not in row[1]]
        kept = set(random.Random(seed).sample(ordered, min(at_most, len(ordered))))
        gone = [(job,) for job in jobs if job not in kept]
        database.executemany("DELETE FROM mutation_specs WHERE job_id=?", gone)
        database.executemany("DELETE FROM work_items WHERE job_id=?", gone)
        database.commit()
    return len(ordered)


def outcomes(session: Path) -> Iterator[tuple[str, str, int, str, str]]:
    """Module, operator, line, outcome and changed lines of every mutant that was run."""
    with closing(sqlite3.connect(session)) as database:
        yield from database.execute(
            "SELECT m.module_path, m.operator_name, m.start_pos_row, r.test_outcome, r.diff "
            "FROM work_results r JOIN mutation_specs m ON m.job_id = r.job_id"
        )


def run(name: str, area: Area, args: argparse.Namespace, limit_s: float) -> None:
    """One area: make, sample, run, tell."""
    with tempfile.TemporaryDirectory(
        prefix="callout-mutants-", ignore_cleanup_errors=True
    ) as folder:
        copy = Path(folder) / "copy"
        copy.mkdir()
        archive = subprocess.run(
            ["git", "archive", "HEAD"], cwd=ROOT, capture_output=True, check=True
        )
        subprocess.run(["tar", "x", "-C", str(copy)], input=archive.stdout, check=True)
        modules = ", ".join(f'"{module}"' for module in area.modules)
        tests = " ".join(area.tests)
        config = CONFIG.format(modules=modules, python=sys.executable, tests=tests)
        (copy / "mutation.toml").write_text(config, encoding="utf-8")
        cosmic_ray(copy, "init", "mutation.toml", "mutants.sqlite")
        session = copy / "mutants.sqlite"
        made = sample(session, args.at_most, args.seed)
        cosmic_ray(copy, "exec", "mutation.toml", "mutants.sqlite", limit_s=limit_s)
        found = list(outcomes(session))
        survived = [item for item in found if "SURVIVED" in item[3]]
        killed = len(found) - len(survived)
        score = 100 * killed / len(found) if found else 0.0
        print(f"{name}: {made} mutants, {len(found)} run, {killed} noticed, {score:.1f} %")
        for module, operator, line, _, diff in sorted(survived):
            changed = [
                text for text in (diff or "").splitlines()
                if text[:1] in "+-" and text[:3] not in ("+++", "---")
            ]  # fmt: skip
            print(f"  survivor {module}:{line} {operator.removeprefix('core/')}")
            print("".join(f"    {text}\n" for text in changed), end="")
        sys.stdout.flush()
        if args.keep:
            shutil.copy(session, Path(args.keep) / f"{name}.sqlite")


def main() -> None:
    """Every area asked for, one after another."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("areas", nargs="+", choices=list(AREAS))
    parser.add_argument("--minutes", type=float, default=240.0, help="for all areas together")
    parser.add_argument("--at-most", type=int, default=100_000, help="mutants an area")
    parser.add_argument("--seed", type=int, default=83)
    parser.add_argument("--keep", help="folder to keep cosmic-ray's session files in")
    args = parser.parse_args()
    until = time.monotonic() + args.minutes * 60
    for name in args.areas:
        run(name, AREAS[name], args, max(1.0, until - time.monotonic()))


if __name__ == "__main__":
    main()
