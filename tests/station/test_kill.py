"""Killing the process at any moment loses no confirmed reading and invents none.

A worker process does real work on a real survey and is killed by SIGKILL, over and over: at once,
while it starts, at work, and around its commits. ``CALLOUT_KILLS`` sets how many kills (default
240); some of them come from the file layer, at each of its calls that change a file, with torn
writes among them. A dozen more kills hit the real command with sound.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from journal_tools import survey
from station_tools import at_work

from callout.core.errors import CalloutError
from callout.journal.folder import SurveyFolder
from callout.journal.writer import GENESIS, entry_hash
from callout.practice.demo import make_demo_survey
from callout.station.data import data_folder
from callout.station.scopes import plot_to_begin
from callout.station.upkeep.recall import remember

KILLS = int(os.environ.get("CALLOUT_KILLS", "240"))
KILLS_A_SURVEY = 12
# Killed at calls 1 to so many of a start and its first callouts, torn and whole, every so many.
FILE_CALLS, FILE_STEP = (160, 1) if KILLS >= 1000 else (160, 7)
RESTART_S = 3.0
Row = tuple[int, str, Decimal | None, bool]


def delays(count: int, chance: random.Random) -> list[str]:
    """When to kill: from the start, or just around the Nth confirmation's commit."""
    made = []
    for number in range(count):
        if number % 3 == 0:
            made.append(f"{chance.uniform(0, 0.06):.6f}")
        else:
            made.append(f"+{chance.randint(1, 6)}:{chance.uniform(0, 0.012):.6f}")
    return made


def file_calls(first: int) -> list[str]:
    """Every changing call of the file layer that is to kill."""
    calls = range(first, FILE_CALLS + 1, FILE_STEP)
    return [f"@{number}:{'torn' if (number + first) % 2 else 'kill'}" for number in calls]


@pytest.fixture(scope="session")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file layer that fails on order, made by the machine's C compiler."""
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        pytest.skip("no C compiler, or not Linux: the failing file layer cannot be made")
    made = tmp_path_factory.mktemp("faulty") / "faulty.so"
    source = Path(__file__).parent / "faulty" / "faulty_files.c"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", made, source, "-ldl"], check=True)
    return made


def rows(folder: SurveyFolder) -> dict[int, Row]:
    """What any reader finds after the kill, before anybody else has started."""
    with folder.reading() as reader:
        before = GENESIS
        for number, entry in enumerate(reader.entries(), start=1):
            assert (entry.seq, entry.prev) == (number, before)
            before = entry_hash(entry.seq, entry.at, entry.kind, entry.body, entry.prev)
            assert entry.hash == before
        found = {}
        for item in reader.readings():
            found[item.entry] = (item.entry, item.tag, item.value, item.void)
            if item.audio:
                sound = folder.audio.read(item.audio)
                assert hashlib.sha256(sound).hexdigest() == item.audio
        return found


def confirmed(lines: list[str]) -> dict[int, Row]:
    """The readings that the worker was told are saved."""
    told = {}
    for line in lines:
        if line.startswith("CONFIRMED "):
            _, entry, tag, value, void = line.split()
            told[int(entry)] = (int(entry), tag, Decimal(value), void == "1")
    return told


def in_flight(lines: list[str]) -> str:
    """The last line, where it says that a confirmation or an undo was under way."""
    last = lines[-1] if lines else ""
    return last if last.startswith(("CONFIRMING", "UNDOING")) else ""


def check_after_kill(found: dict[int, Row], lines: list[str], before: dict[int, Row]) -> bool:
    """Hold what was found against what was told, and against what was found after the kill before.

    Says whether one in flight came to be saved.
    """
    told = confirmed(lines)
    assert all(found[entry] == row for entry, row in before.items()), "an older reading changed"
    lost = {entry: row for entry, row in told.items() if found.get(entry) != row}
    assert not lost, f"confirmed and lost: {lost}"
    invented = [row for entry, row in found.items() if entry not in told and entry not in before]
    flight = in_flight(lines).split()
    assert len(invented) <= (1 if flight else 0), f"invented: {invented} after {lines[-3:]}"
    for _, tag, value, void in invented:
        assert void == (flight[0] == "UNDOING")
        assert void or flight[1:] == [tag, str(value)]
    return bool(invented)


def check_restart(folder: SurveyFolder, lines: list[str]) -> tuple[bool, float]:
    """A new start finds the journal's memory; says whether a reading still waits in it, and how

    long the start took, in CPU seconds: the machine may be busy.
    """
    with folder.reading() as reader:
        _, memory = remember(reader)
    started = time.thread_time()
    with at_work(folder) as station:
        assert station.memory == memory
        station.open("K1", "R.V.")
    took_s = time.thread_time() - started
    waiting = memory.pending
    last = lines[-1].split() if lines else [""]
    if last[0] == "PENDING":
        assert waiting is not None, f"what waited is gone: {last}"
        if waiting.draft.entry == int(last[1]):
            assert (waiting.draft.tag, str(waiting.draft.value)) == (last[2], last[3])
    return waiting is not None, took_s


@dataclass(frozen=True)
class Work:
    """One survey, its number, and when to kill the workers on it."""

    folder: SurveyFolder
    number: int
    moments: list[str]


def kill_on_surveys(orders: list[Work], env: dict[str, str] | None = None) -> dict[str, float]:
    """Kill a worker again and again on each survey, checking after each kill."""
    counts: dict[str, float] = dict.fromkeys(
        ("kills", "confirmed", "in flight saved", "waiting after", "hot", "slowest start s"), 0
    )
    command = [sys.executable, "-W", "error", "killed_worker.py"]
    tests = Path(__file__).parent
    rooms = (tests, tests.parent / "journal", tests.parent / "wording", tests.parents[1])
    path = os.pathsep.join(map(str, rooms))
    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=tests,
        env={**os.environ, "PYTHONPATH": path, **(env or {})},
    ) as launcher:
        for order in orders:
            kill_on_one_survey(order, launcher, counts)
        assert launcher.stdin is not None
        launcher.stdin.close()
        assert launcher.wait() == 0
    return counts


def kill_on_one_survey(
    order: Work, launcher: subprocess.Popen[str], counts: dict[str, float]
) -> None:
    folder = order.folder
    assert launcher.stdin is not None
    assert launcher.stdout is not None
    before: dict[int, Row] = {}
    launcher.stdin.write(f"IN\t{folder.path}\t{order.number}\n")
    for delay in order.moments:
        launcher.stdin.write(delay + "\n")
        launcher.stdin.flush()
        answer = json.loads(launcher.stdout.readline())
        lines = answer["lines"]
        assert answer["killed"], f"the worker ended by itself after {lines[-3:]}"
        counts["kills"] += 1
        counts["confirmed"] += len(confirmed(lines))
        counts["hot"] += (folder.path / "journal.db-journal").exists()
        found = rows(folder)
        counts["in flight saved"] += check_after_kill(found, lines, before)
        waiting, took_s = check_restart(folder, lines)
        counts["waiting after"] += waiting
        counts["slowest start s"] = round(max(counts["slowest start s"], took_s), 2)
        before = found


def test_kills_lose_nothing_and_invent_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    surveys = -(-KILLS // KILLS_A_SURVEY)
    folders = [survey(tmp_path / f"harrow{number}") for number in range(surveys)]
    moments = [delays(KILLS_A_SURVEY, random.Random(number)) for number in range(surveys)]
    orders = [Work(*given) for given in zip(folders, range(surveys), moments, strict=True)]
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(kill_on_surveys, (orders[::2], orders[1::2])))
    total = summed(found)
    with capsys.disabled():
        print(f"\nkill test: {total}")
    assert total["kills"] >= min(KILLS, 200)
    assert total["confirmed"] > total["kills"], "the workers must have got some work done"
    assert total["waiting after"] > 0, "some readings must have waited through a kill"
    assert total["slowest start s"] < RESTART_S


def summed(found: list[dict[str, float]]) -> dict[str, float]:
    slowest = "slowest start s"
    total = {name: sum(counts[name] for counts in found) for name in found[0]}
    return {**total, slowest: max(counts[slowest] for counts in found)}


def test_kills_at_each_call_of_the_file_layer_and_torn_writes(
    tmp_path: Path, faulty: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = [survey(tmp_path / f"harrow{number}") for number in range(2)]
    envs = [{"LD_PRELOAD": str(faulty), "FAULTY_UNDER": str(folder.path)} for folder in folders]
    orders = [[Work(folder, at, file_calls(at + 1))] for at, folder in enumerate(folders)]
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(kill_on_surveys, orders, envs))
    total = summed(found)
    with capsys.disabled():
        print(f"\nkills by the file layer: {total}")
    assert total["kills"] == len(file_calls(1)) + len(file_calls(2))
    assert total["confirmed"] > 0
    assert total["slowest start s"] < RESTART_S


# ---- the real command, with sound ----


def json_lines(text: str) -> list[dict[str, Any]]:
    """The whole lines that were printed; a kill may cut the last one off."""
    whole = text[: text.rfind("\n") + 1]
    return [json.loads(line) for line in whole.splitlines()]


def killed_at(command: list[str], lines: int, seconds: float) -> tuple[str, str]:
    """Run it, and kill it that long after it printed so many lines; what it printed."""
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        out = "".join(process.stdout.readline() for _ in range(lines))
        time.sleep(seconds)
        process.kill()
        rest, errors = process.communicate()
    return out + rest, errors


def kill_command(folder: SurveyFolder, moments: list[tuple[int, float]]) -> int:
    """Kill ``callout listen`` with sound, at each of these moments; how many it saved."""
    audio = data_folder("audio_fixtures") / "walk.flac"
    said = json.loads((audio.parent / "walk.json").read_text(encoding="utf-8"))["saved"]
    command = [
        sys.executable, "-W", "error", "-m", "callout", "listen", str(folder.path),
        "--headless", "--audio", str(audio),
    ]  # fmt: skip
    told: dict[int, tuple[str, str | None]] = {}
    for lines, seconds in moments:
        out, errors = killed_at(command, lines, seconds)
        assert errors == ""
        for line in json_lines(out):
            if line["event"] == "saved":
                told[line["entry"]] = (line["tag"], line["recorded"])
        found = rows(folder)
        for entry, (tag, value) in told.items():
            assert found[entry][1:3] == (tag, Decimal(value) if value else None)
        unsaid = [row for entry, row in found.items() if entry not in told]
        for entry, tag, value, void in unsaid:
            assert not void
            assert said[tag] == (str(value) if value is not None else "dead standing")
            told[entry] = (tag, str(value) if value is not None else None)
        assert len(unsaid) <= 1, f"saved and not told, but for the one in flight: {unsaid}"
    with folder.reading() as reader:
        remember(reader)
    return len(told)


def test_kills_of_the_real_command_with_sound(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chance = random.Random(83)
    moments = [
        [(lines, chance.uniform(0, 0.3)) for lines in (0, 3, 7, 12, 17, 24)] for _ in range(2)
    ]
    folders = [
        make_demo_survey(tmp_path / f"fen{number}", datetime.now().astimezone())
        for number in range(2)
    ]
    with ThreadPoolExecutor(2) as pool:
        saved = list(pool.map(kill_command, folders, moments))
    with capsys.disabled():
        print(f"\nkills of the real command: 12, saved meanwhile: {saved}")
    assert sum(saved) > 0
    for folder in folders:
        with at_work(folder) as station:
            station.open(plot_to_begin(station.survey.plots, station.memory, None), "R.V.")


def test_the_check_itself_finds_a_lost_and_an_invented_reading(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    with at_work(folder) as station:
        station.open("K1", "R.V.")
        station.type("83 25.1")
        station.press("confirm")
    assert check_after_kill(rows(folder), ["CONFIRMED 5 83 25.1 0"], {}) is False
    assert check_after_kill(rows(folder), ["CONFIRMING 83 25.1"], {}) is True
    for lines in (
        ["CONFIRMED 5 83 25.1 0", "CONFIRMED 6 91 12.0 0"],  # one was lost
        ["CONFIRMED 5 83 25.2 0"],  # another value
        [],  # one was invented
        ["CONFIRMING 83 25.2"],  # not what was under way
        ["CONFIRMING 83 25.1", "REJECTED 4"],
    ):
        with pytest.raises((AssertionError, CalloutError)):
            check_after_kill(rows(folder), lines, {})
