"""Every command that writes, killed at any of its calls that change a file: whole, or not at all.

After each kill whatever is there verifies, the journal has grown by a part of the act that is whole
by itself, or by nothing, a folder that was being made is there whole or not, and the same command
again comes to what it would have come to. ``CALLOUT_COMMAND_KILLS`` sets how many (default 27).
Pushing is killed in ``tests/crews``, working in ``test_kill``. All invented.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from journal_tools import survey
from killed_command import HEAD
from station_tools import ScriptedEngine, at_work, clock, sound
from test_kill import faulty as faulty

from callout.crews.site import Site, is_site, site_folders
from callout.journal.folder import SurveyFolder
from callout.proof.signatures import public_of, read_key
from callout.station.upkeep.sealing import seal_act
from callout.station.upkeep.verifying import verify_survey
from callout.tuning.tuning_kept import head_of, records

KILLS = int(os.environ.get("CALLOUT_COMMAND_KILLS", "27"))
MEMORY_DISK = "/dev/shm" if Path("/dev/shm").is_dir() else None
AT = "2026-06-02T20:00:00.000+02:00"
WHO = ("--who", "R.V.", "--reason", "wish")

COMMANDS: dict[str, tuple[str, ...]] = {
    "rule": ("rule", "fen", "--entry", "ENTRY", "--void", *WHO),
    "erase": ("erase", "fen", "--person", "R.V.", *WHO, "--yes"),
    "seal": ("verify", "fen", "--seal"),
    "key": ("key", "fen", "--who", "R.V."),
    "merge": ("merge", "fen", "other", "--into", "site", "--ask-nothing"),
    "rebuild": ("rebuild", "fen", "--into", "rebuilt"),
    "new": ("new", "made", "--trees", "trees.csv"),
    "remeasure": ("remeasure", "fen", "--share", "100%", "--number", "7", "--into", "again"),
    "tune": ("tune", "fen"),
}  # fmt: skip
MADE = {"rebuild": "rebuilt", "new": "made", "remeasure": "again", "merge": "site"}
FILES = ("fen", "other", "site", "rebuilt", "made", "again", "trees.csv")


def kinds(folder: SurveyFolder) -> list[str]:
    """The kinds of entries, in order; a draw that was never walked is one with the next."""
    with folder.reading() as reader:
        found = [entry.kind for entry in reader.entries()]
    return [
        kind
        for at, kind in enumerate(found)
        if kind != "drawn" or at == 0 or found[at - 1] != "drawn"
    ]


def surveys_below(place: Path) -> dict[str, SurveyFolder]:
    """Every survey there is, recorders' copies too."""
    found = {}
    for path in sorted(place.iterdir()):
        if path.name.startswith("."):
            continue
        if is_site(path):
            found.update({f"{path.name}/{one.path.name}": one for one in site_folders(Site(path))})
        elif (path / "journal.db").exists():
            found[path.name] = SurveyFolder(path)
    return found


def state(place: Path) -> dict[str, Any]:
    """What the commands lead to: kinds of entries, sounds, tunings and keys."""
    found: dict[str, Any] = {
        name: (kinds(folder), len(list((folder.path / "audio").glob("*.flac"))))
        for name, folder in surveys_below(place).items()
    }
    if (place / "fen" / "hearing").is_dir():
        found["tuned"] = [one.who for one in records(SurveyFolder(place / "fen"))]
        head = head_of(SurveyFolder(place / "fen"), "R.V.")
        found["head"] = head.read_bytes() == HEAD if head.exists() else None
    return found


@pytest.fixture(scope="module")
def template() -> Iterator[Path]:
    """Two recorders' surveys with sound, one of them sealed."""
    with (
        tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name,
        pytest.MonkeyPatch.context() as patch,
    ):
        place = Path(name) / "template"
        place.mkdir()
        patch.setenv("CALLOUT_KEY", str(Path(name) / "none.pem"))
        for number, (survey_name, who) in enumerate((("fen", "R.V."), ("other", "M.O."))):
            folder, engine = survey(place / survey_name), ScriptedEngine()
            with at_work(folder, engine, clock()) as station:
                station.open("K1", who)
                for mark in range(3):
                    engine.next_words = f"tree ninety one twelve point {('one', 'two')[mark % 2]}"
                    station.hear(sound(100 * number + mark))
                    if station.memory.pending:
                        station.press("accept", about=station.memory.asking)
                saved = station.memory.undoable[-1].entry
            if number == 0:
                entry = saved
                seal_act(folder, AT)
                with at_work(folder, None, clock()) as station:
                    station.open("K1", who)
                    station.type("83 25.1")
                    station.press("accept", about=station.memory.asking)
        (place / "trees.csv").write_text("plot,tag,species\nK1,1,beech\nK1,2,oak\n")
        (place / "entry").write_text(str(entry))
        yield place


class Launcher:
    """The process that runs the commands, with the failing file layer before the real one."""

    def __init__(self, faulty: Path) -> None:
        tests = Path(__file__).parent
        rooms = (tests, tests.parent / "journal", tests.parent / "wording", tests.parents[1])
        self._process = subprocess.Popen(
            [sys.executable, "-W", "error", "killed_command.py"], cwd=tests, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, rooms)),
                 "LD_PRELOAD": str(faulty)},
        )  # fmt: skip

    def run(self, place: Path, command: tuple[str, ...], at: int = 0, how: str = "") -> Any:
        """Run it in ``place``; killed at call ``at``, if it comes to that."""
        entry = (place / "entry").read_text()
        words = [
            str(place / word) if word in FILES else entry if word == "ENTRY" else word
            for word in command
        ]
        env = {
            "CALLOUT_KEY": str(place / "home" / "seal.pem"),
            "XDG_CACHE_HOME": str(place.parent / "cache"),
            "FAULTY_UNDER": str(place), "FAULTY_AT": str(at), "FAULTY_HOW": how,
            "FAULTY_COUNT": str(place.parent / "count"),
        }  # fmt: skip
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        order = {"command": words, "env": env, "said": str(place.parent / "said")}
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(60)
        self._process.stdout.close()


@pytest.fixture(scope="module")
def launcher(faulty: Path) -> Iterator[Launcher]:
    made = Launcher(faulty)
    yield made
    made.close()


def fresh(template: Path, place: Path) -> Path:
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(template, place)
    (place / "home").mkdir()
    return place


def check_key(place: Path) -> None:
    """A key that is there is whole, and no other was named."""
    pem = place / "home" / "seal.pem"
    with SurveyFolder(place / "fen").reading() as reader:
        named = [entry.content["public"] for entry in reader.of_kind("signer")]
    if named:
        assert named == [public_of(read_key(pem))]


def is_part(before: Any, now: Any, after: Any) -> bool:
    """Whether a journal stands between its states before and after the act, entry by entry."""
    return bool(now[: len(before)] == before and now == after[: len(now)])


def test_each_act_is_whole_or_not_at_all(
    template: Path, launcher: Launcher, capsys: pytest.CaptureFixture[str]
) -> None:
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        place, said = Path(name) / "place", lambda: (Path(name) / "said").read_text()
        before = state(fresh(template, place))
        whole, calls = {}, {}
        for act, command in COMMANDS.items():
            found = launcher.run(fresh(template, place), command)
            assert found == {"killed": False, "code": 0}, (act, found, said())
            whole[act] = state(place)
            assert whole[act] != before, f"{act} does something"
            calls[act] = int((Path(name) / "count").read_text())
        for trial in range(KILLS):
            act = list(COMMANDS)[trial % len(COMMANDS)]
            chance = random.Random(f"{act} {trial}")
            at = chance.randint(1, calls[act])
            how = chance.choice(("kill", "torn"))
            about = f"trial {trial}: {act}, {how} at call {at} of {calls[act]}"
            found = launcher.run(fresh(template, place), COMMANDS[act], at, how)
            assert found["killed"], (about, found, said())
            counts[act] += 1
            check_after(place, act, before, whole[act], about)
            again(place, act, launcher, whole[act], about, said)
    with capsys.disabled():
        print(f"\nkills of commands: {sum(counts.values())}: {dict(counts)}, each whole or not")


def check_after(place: Path, act: str, before: Any, whole: Any, about: str) -> None:
    now = state(place)
    for survey_name, folder in surveys_below(place).items():
        report = verify_survey(folder)
        assert not report.faults, (about, survey_name, report.faults)
        entries = now[survey_name][0]
        if survey_name in before:
            assert is_part(before[survey_name][0], entries, whole[survey_name][0]), about
        else:
            assert entries == whole[survey_name][0], f"{about}: {survey_name} is not whole"
    check_key(place)
    assert now.get("head") in (None, True), f"{about}: a part of a head"
    SurveyFolder(place / "fen").config()  # the settings can be read


def again(
    place: Path, act: str, launcher: Launcher, whole: Any, about: str, said: Callable[[], str]
) -> None:
    """The same once more comes to what it would have come to."""
    made = MADE.get(act)
    was_made = made is not None and act != "merge" and (place / made).exists()
    grown = dict(state(place).items())
    ordered = act == "erase" and "sound_removed" in grown["fen"][0]
    # What was ordered before the kill is only carried out.
    found = launcher.run(place, ("erase", "fen") if ordered else COMMANDS[act])
    assert found["code"] == (2 if was_made else 0), (about, found, said())
    after = state(place)
    if act in ("rule", "erase", "key", "seal"):
        # An act that was whole already is done again, as anybody could who did not see it.
        assert set(after) == set(whole), about
        assert len(after["fen"][0]) >= len(grown["fen"][0]), about
        assert after["fen"][1] == whole["fen"][1], f"{about}: other sounds are left"
    else:
        assert after == whole, about
    for folder in surveys_below(place).values():
        assert not verify_survey(folder).faults, about
    if not was_made:
        assert not list(place.glob(".building-*")), f"{about}: what was half made is cleared away"
