"""A power cut at any write: what was told as saved is there, nothing is invented, all holds.

A worker measures, by typing and by sound, and seals now and then; each call that changes a file is
written down. From that record the disk is made as it may stand after a cut at a random call
(``power_cut`` says what is played and what is not). ``CALLOUT_CUTS`` sets how many (default 24).
All invented; SQLite's own account of what its settings promise is "PRAGMA synchronous" of its
documentation.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from journal_tools import survey
from power_cut import Call, Disk, calls_in
from test_kill import check_after_kill, check_restart, rows

from callout.journal.folder import SurveyFolder
from callout.station.upkeep.verifying import verify_survey

CUTS = int(os.environ.get("CALLOUT_CUTS", "24"))
CUTS_A_RUN = 50
CONFIRMATIONS = 25


@pytest.fixture(scope="module")
def recorder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file layer that writes down, made by the machine's C compiler."""
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        pytest.skip("no C compiler, or not Linux: the recording file layer cannot be made")
    made = tmp_path_factory.mktemp("recorder") / "recorded.so"
    source = Path(__file__).parent / "faulty" / "recorded_files.c"
    subprocess.run(
        [compiler, "-shared", "-fPIC", "-O1", "-o", made, source, "-ldl", "-lpthread"], check=True
    )
    return made


def recorded(folder: SurveyFolder, recorder: Path, seed: int) -> list[Call]:
    """The calls of one worker, which works until it has confirmed so often."""
    place = folder.path.parent
    tests = Path(__file__).parent
    rooms = (tests, tests.parent / "journal", tests.parent / "wording", tests.parents[1])
    log, marks = place / "log", place / "marks"
    subprocess.run(
        [sys.executable, "recorded_worker.py", str(folder.path), str(marks), str(seed),
         str(CONFIRMATIONS)],
        cwd=tests, check=True, timeout=600,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, rooms)),
             "LD_PRELOAD": str(recorder), "RECORDED_UNDER": str(folder.path),
             "RECORDED_LOG": str(log), "RECORDED_MARKS": str(marks)},
    )  # fmt: skip
    return calls_in(log)


def test_power_cuts_lose_nothing_that_was_told_and_invent_nothing(
    tmp_path: Path, recorder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cuts = kept = journals = 0
    for run in range(-(-CUTS // CUTS_A_RUN)):
        place = tmp_path / f"run{run}"
        place.mkdir()
        folder = survey(place / "harrow")
        begin = place / "before"
        shutil.copytree(folder.path, begin)
        disk = Disk(folder.path)
        chance = random.Random(run)
        calls = recorded(folder, recorder, run)
        assert sum(call.what == "S" for call in calls) > CONFIRMATIONS
        moments = sorted(chance.randrange(len(calls)) for _ in range(min(CUTS, CUTS_A_RUN)))
        for number, call in enumerate(calls):
            disk.take(call)
            while moments and moments[0] == number:
                moments.pop(0)
                after = SurveyFolder(place / "after")
                disk.cut(after.path, chance)
                journals += (after.path / "journal.db-journal").exists()
                lines = disk.marks.splitlines()
                check_after_kill(rows(after), lines, {})
                report = verify_survey(after)
                assert not report.faults, f"run {run}, call {number}: {report.faults}"
                check_restart(after, lines)
                cuts += 1
                kept += sum(line.startswith("CONFIRMED") for line in lines)
                shutil.rmtree(after.path)
    with capsys.disabled():
        print(f"\npower cuts: {cuts}, with {journals} hot journals; {kept} confirmed readings "
              "looked for, 0 lost, 0 invented")  # fmt: skip
    assert cuts >= min(CUTS, 24)
    assert kept > cuts


def test_the_disk_itself_loses_what_was_not_synced(tmp_path: Path) -> None:
    """The check can fail: without the sync, a cut may lose any of it."""
    folder = tmp_path / "x"
    folder.mkdir()
    path = str(folder / "a")
    written = [Call("W", 7, 0, path, b"x" * 1024)]
    found = set()
    for synced in ([], [Call("S", 7, 0, path, b""), Call("S", 0, 0, str(folder), b"")]):
        for seed in range(40):
            disk = Disk(folder)
            for call in (*written, *synced):
                disk.take(call)
            after = tmp_path / "after"
            disk.cut(after, random.Random(seed))
            lost = not (after / "a").exists() or (after / "a").read_bytes() != b"x" * 1024
            found.add((bool(synced), lost))
            shutil.rmtree(after)
    assert found == {(False, True), (False, False), (True, False)}
