"""Mutation testing of the parts a wrong value could come from: who notices a changed line?

    python benchmarks/mutation.py session grammar --seed 83 --at-most 250 --keep /tmp/found

copies a commit (the mutants are made in the copy), makes cosmic-ray's mutants of each area
one at a time, and asks the area's own tests. What was run, and why each survivor survives, stands
in docs/mutation.md. ``--again FOUND.jsonl`` tries once more what survived an earlier run.

Each mutant gets a forked process in which pytest and hypothesis are loaded already, the quick
tests first; hypothesis does not shrink what it finds. That is what makes a mutant cost a second or
two. Needs a system that can fork.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import importlib
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import hypothesis
import pytest
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names
from mutation_areas import AREAS, Area, Tests

ROOT = Path(__file__).resolve().parent.parent
# Loaded before the first fork, so that no mutant pays for them. Nothing of Callout may be here.
LOADED = ("hypothesis.stateful", "hypothesis.strategies", "num2words", "numpy", "pandas", "rich")
# What is loaded already cannot be rewritten by pytest, and is none of ours.
ASKED = ("-q", "-x", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")
# Seconds of processor time that a mutant may take, beyond twice what its tests take unchanged.
MORE_S = 5
MOST_MEMORY = 6 * 2**30


@dataclass(frozen=True)
class Mutant:
    """One change cosmic-ray can make: the ``occurrence``-th place that ``operator`` applies to."""

    module: str
    operator: str
    occurrence: int
    line: int


@dataclass(frozen=True)
class Found:
    """What became of a mutant: noticed (or ran too long), or survived; its lines, its seconds of

    processor time.
    """

    mutant: Mutant
    outcome: str
    changed: tuple[str, ...]
    took_s: float


class Quick:
    """A pytest plugin: the first failing example is enough, nobody reads it."""

    def pytest_configure(self) -> None:
        phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
        hypothesis.settings.register_profile(
            "mutants", derandomize=True, deadline=None, database=None, phases=phases
        )
        hypothesis.settings.load_profile("mutants")


# ---- making mutants ----


def mutants_of(copy: Path, area: Area) -> list[Mutant]:
    """Every mutant of the area, in a stable order; annotations are left out, nobody runs them."""
    paths = [path for name in area.modules for path in _modules(copy / name)]
    return [mutant for path in sorted(paths) for mutant in _of_module(copy, path)]


def _modules(path: Path) -> list[Path]:
    return [path] if path.is_file() else sorted(path.rglob("*.py"))


def _of_module(copy: Path, path: Path) -> Iterator[Mutant]:
    source = path.read_text(encoding="utf-8")
    tree, unread = get_ast(source), list(_annotations(source))
    for name in operator_names():
        kind = get_operator(name)
        if kind.arguments():
            continue  # wants names of ours to put in
        operator = kind()
        places = (at for node in ast_nodes(tree) for at in operator.mutation_positions(node))
        for occurrence, (start, end) in enumerate(places):
            if not any(first <= start and end <= last for first, last in unread):
                yield Mutant(str(path.relative_to(copy)), name, occurrence, start[0])


def _annotations(source: str) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """From where to where an annotation stands, as (line, column)."""
    for node in ast.walk(ast.parse(source)):
        for part in ("annotation", "returns"):
            note = getattr(node, part, None)
            if isinstance(note, ast.expr):
                end = (note.end_lineno or 0, note.end_col_offset or 0)
                yield (note.lineno, note.col_offset), end


def changed_lines(before: str, after: str) -> tuple[str, ...]:
    """The lines that differ, with + and - before them."""
    told = difflib.unified_diff(before.split("\n"), after.split("\n"), lineterm="", n=0)
    return tuple(line for line in told if line[:1] in "+-" and line[:3] not in ("+++", "---"))


# ---- asking the tests ----


def asked(copy: Path, tests: Sequence[str], limit_s: int) -> tuple[bool | None, float]:
    """Whether the tests pass in a process of their own (None: they took too long), and its seconds

    of processor time: the machine may have other work, which must not pass for an endless loop.
    """
    there = [test for test in tests if (copy / test.partition("::")[0]).exists()]
    if not there:  # an older commit
        return True, 0.0
    child = os.fork()
    if child == 0:
        _ask(copy, there, limit_s)
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    if code in (-signal.SIGTERM, -signal.SIGINT):
        raise SystemExit("ended from outside: nobody has noticed this mutant")
    too_long = code in (-signal.SIGXCPU, -signal.SIGKILL)
    return None if too_long else code == 0, used.ru_utime + used.ru_stime


def _ask(copy: Path, tests: Sequence[str], limit_s: int) -> None:
    """In the child: run pytest quietly, and end without what the parent would do at its end."""
    os.chdir(copy)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s + 1))
    quiet = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(quiet, stream)
    code = 1
    try:
        code = int(pytest.main([*ASKED, *tests], plugins=[Quick()]))
    finally:
        os._exit(code)


def tried(copy: Path, area: Area, mutant: Mutant, limits: Mapping[Tests, int]) -> Found:
    """Make the change, ask stage after stage, put the code back."""
    path = copy / mutant.module
    before = path.read_text(encoding="utf-8")
    after = mutate_code(before, get_operator(mutant.operator)(), mutant.occurrence)
    if after is None:
        raise SystemExit(f"{mutant}: no such mutant: was the module changed since?")
    outcome, took_s = "survived", 0.0
    path.write_text(after, encoding="utf-8")
    try:
        for stage in area.asked(path.name):
            passed, used_s = asked(copy, stage, limits[stage])
            took_s += used_s
            if not passed:
                outcome = "ran too long" if passed is None else "noticed"
                break
    finally:
        path.write_text(before, encoding="utf-8")
    return Found(mutant, outcome, changed_lines(before, after), round(took_s, 2))


def prepared(copy: Path, area: Area) -> dict[Tests, int]:
    """The tests pass unchanged, in the copy; how long each stage may take, in seconds.

    What is compiled meanwhile is kept for the tests and dropped for the modules that change.
    """
    sys.dont_write_bytecode = False
    paths = [path for name in area.modules for path in _modules(copy / name)]
    limits: dict[Tests, int] = {}
    for stage in dict.fromkeys(stage for path in paths for stage in area.asked(path.name)):
        passed, used_s = asked(copy, stage, 900)
        if not passed:
            raise SystemExit(f"these tests do not pass unchanged: {' '.join(stage)}")
        limits[stage] = int(MORE_S + 2 * used_s)
    sys.dont_write_bytecode = True
    for path in paths:
        for old in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
            old.unlink()
    return limits


# ---- a run ----


def run(name: str, copy: Path, args: argparse.Namespace, until: float) -> None:
    """One area: make, sample, ask, tell."""
    area = AREAS[name]
    mutants = mutants_of(copy, area)
    made = len(mutants)
    if args.again:
        lines = Path(args.again).read_text(encoding="utf-8").splitlines()
        items = [json.loads(line) for line in lines]
        alive = [item["mutant"] for item in items if item["outcome"] == "survived"]
        mutants = [item for item in mutants if asdict(item) in alive]
    else:
        random.Random(args.seed).shuffle(mutants)  # so that a longer sample begins as a short one
        mutants = mutants[args.skip : args.skip + args.at_most]
    limits = prepared(copy, area)
    print(f"{name}: {made} mutants, {len(mutants)} to try", flush=True)
    found: list[Found] = []
    for mutant in mutants:
        if time.monotonic() > until:
            break
        found.append(tried(copy, area, mutant, limits))
        _tell(name, found[-1], args.keep)
    survived = sum(item.outcome == "survived" for item in found)
    score = 100 * (1 - survived / len(found)) if found else 0.0
    seconds = sorted(item.took_s for item in found) or [0.0]
    print(
        f"{name}: {made} mutants, {len(found)} tried, {len(found) - survived} noticed, "
        f"{score:.1f} %; median {seconds[len(seconds) // 2]} s",
        flush=True,
    )


def _tell(name: str, item: Found, keep: str | None) -> None:
    if item.outcome == "survived":
        mutant = item.mutant
        print(f"  survivor {mutant.module}:{mutant.line} {mutant.operator.removeprefix('core/')}")
        print("".join(f"    {text}\n" for text in item.changed), end="", flush=True)
    if keep:
        Path(keep).mkdir(parents=True, exist_ok=True)
        with (Path(keep) / f"{name}.jsonl").open("a", encoding="utf-8") as journal:
            journal.write(json.dumps(asdict(item)) + "\n")


def main() -> None:
    """Every area asked for, one after another."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("areas", nargs="+", choices=list(AREAS))
    parser.add_argument("--minutes", type=float, default=240.0, help="for all areas together")
    parser.add_argument("--at-most", type=int, default=100_000, help="mutants an area")
    parser.add_argument("--seed", type=int, default=83)
    parser.add_argument(
        "--skip", type=int, default=0, help="so many of the sample are done already"
    )
    parser.add_argument("--commit", default="HEAD", help="what is copied")
    parser.add_argument("--again", help="a kept file: try its survivors once more")
    parser.add_argument("--keep", help="folder to which each mutant's outcome is added")
    args = parser.parse_args()
    until = time.monotonic() + args.minutes * 60
    with tempfile.TemporaryDirectory(
        prefix="callout-mutants-", ignore_cleanup_errors=True
    ) as folder:
        copy = Path(folder)
        archive = subprocess.run(
            ["git", "archive", args.commit], cwd=ROOT, capture_output=True, check=True
        )
        subprocess.run(["tar", "x", "-C", str(copy)], input=archive.stdout, check=True)
        sys.path.insert(0, str(copy))
        for module in LOADED:
            importlib.import_module(module)
        for name in args.areas:
            run(name, copy, args, until)
        assert "callout" not in sys.modules, "the mutants would not be seen"


if __name__ == "__main__":
    main()
