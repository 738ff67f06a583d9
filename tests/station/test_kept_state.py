"""A start from the state as of the newest seal is a full replay's, and anything wrong with it only

means that all is replayed. All invented.
"""

from __future__ import annotations

import pickle
import random
import shutil
import sqlite3
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

import pytest
from journal_tools import survey
from station_tools import at_work, clock

import callout
from callout.core.errors import StorageError
from callout.journal.folder import SurveyFolder
from callout.journal.reader import JournalReader
from callout.station.upkeep import kept_state
from callout.station.upkeep.kept_parts import Parts
from callout.station.upkeep.kept_state import AtEntry, followed, plots_now, resume
from callout.station.upkeep.notices import notices
from callout.station.upkeep.rebuild import Session
from callout.station.upkeep.sealing import seal_session
from callout.station.upkeep.verifying import verify_survey

PROGRAM = Path(callout.__file__).parent
SAID = (
    "83 25.1", "accept", "confirm", "91 12.9", "undo", "tree 91", "no", "new tree 205 8.1", "skip",
    "83 dead standing", "correction 13.1", "note", "101 30.4", "83 tag lost new tag 312",
    "what's left",
)  # fmt: skip


@pytest.fixture
def states(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("CALLOUT_KEY", str(tmp_path / "none.pem"))
    return tmp_path / "cache" / "callout" / "states"


def day(folder: SurveyFolder, chance: random.Random, seal: bool) -> None:
    with at_work(folder, None, clock()) as station:
        station.open(chance.choice(["K1", "K2"]), "R.V.")
        for _ in range(chance.randrange(1, 12)):
            station.type(chance.choice(SAID))
            if chance.random() < 0.6:
                station.press("accept", about=station.memory.asking)
        if seal:
            seal_session(folder, station)


@pytest.mark.parametrize("seed", range(12))
def test_the_tail_replayed_is_all_replayed(tmp_path: Path, states: Path, seed: int) -> None:
    folder, chance = survey(tmp_path / "harrow"), random.Random(seed)
    resumed = 0
    for number in range(4):
        day(folder, chance, seal=number != 2)
        with folder.reading() as reader:
            resumed += resume(reader).entry > 0
            short, long = followed(reader), followed(reader, from_start=True)
        assert short.memory == long.memory
        assert short.known.survey == long.known.survey
    assert resumed >= 2


def begun_at(reader: JournalReader) -> int:
    return resume(reader).entry


def test_anything_wrong_with_it_means_replaying_all(tmp_path: Path, states: Path) -> None:
    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    (path,) = states.glob("*.state")
    assert path.stat().st_mode & 0o077 == 0
    whole = path.read_bytes()
    with folder.reading() as reader:
        assert begun_at(reader) == reader.last
        for data in (b"", whole[:-1], whole[:40], whole[:-9] + b"x" * 9, pickle.dumps(print)):
            path.write_bytes(data)
            assert begun_at(reader) == 0
        path.unlink()
        assert begun_at(reader) == 0
        path.symlink_to(tmp_path / "elsewhere")
        assert begun_at(reader) == 0


def test_other_rules_make_other_states(
    tmp_path: Path, states: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    monkeypatch.setattr(kept_state, "_rules", lambda: "others")
    with folder.reading() as reader:
        assert begun_at(reader) == 0


def test_the_rules_are_all_that_a_replay_goes_through(tmp_path: Path, states: Path) -> None:
    """A module left out of them would let a state live on after what it means was changed."""
    folder = survey(tmp_path / "harrow")
    for seed in range(3):
        day(folder, random.Random(seed), seal=True)
    ran: set[str] = set()

    def note(frame: FrameType, event: str, arg: object) -> None:
        ran.add(frame.f_code.co_filename)

    with folder.reading() as reader:
        entries = list(reader.entries())
        at = AtEntry()
        sys.setprofile(note)
        try:
            for entry in entries:
                at = at.after(entry)
        finally:
            sys.setprofile(None)
    ours = {path for name in ran if (path := Path(name)).is_relative_to(PROGRAM)}
    assert PROGRAM / "session" / "saving.py" in ours
    assert ours <= set(kept_state.rules_files())


def test_a_state_that_is_no_state_runs_nothing(tmp_path: Path, states: Path) -> None:
    """Even one with its digest right: only values of our own parts are taken."""
    import hashlib

    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    (path,) = states.glob("*.state")

    class Evil:
        def __reduce__(self) -> tuple[object, ...]:
            return (Path.touch, (tmp_path / "ran",))

    evil = pickle.dumps(Evil())
    with folder.reading() as reader:
        newest = reader.latest("sealed")
        assert newest is not None
        framed = len(evil).to_bytes(8, "big") + evil
        for head, session in (
            (evil, b""),
            (pickle.dumps((newest.seq, newest.hash, kept_state._rules(), {},
                           hashlib.sha256(framed).digest())), framed),
        ):  # fmt: skip
            path.write_bytes(
                kept_state._MARK + hashlib.sha256(head).digest()
                + len(head).to_bytes(8, "big") + head + session
            )  # fmt: skip
            assert begun_at(reader) == 0
    assert verified(folder) == []
    assert not (tmp_path / "ran").exists()


def verified(folder: SurveyFolder, replay: bool = False) -> list[str]:
    return [str(fault) for fault in verify_survey(folder, replay=replay).faults]


def test_rows_are_held_against_what_was_known_and_faults_named_as_by_a_replay(
    tmp_path: Path, states: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = survey(tmp_path / "harrow")
    for number in range(3):
        day(folder, random.Random(number), seal=True)
    day(folder, random.Random(9), seal=False)
    taken: list[int] = []
    take = Session.take
    monkeypatch.setattr(
        Session, "take", lambda self, entry: (taken.append(entry.seq), take(self, entry))[1]
    )
    assert verified(folder) == []
    with folder.reading() as reader:
        newest = reader.latest("sealed")
        assert newest is not None
        assert taken == list(range(newest.seq + 1, (reader.last or 0) + 1)), "only the tail"
    taken.clear()
    assert verified(folder, replay=True) == []
    assert taken[0] == 1
    with closing(sqlite3.connect(folder.database)) as database:
        database.execute("UPDATE readings SET value='77.7' WHERE entry=(SELECT min(entry) "
                         "FROM readings)")  # fmt: skip
        database.commit()
    assert verified(folder) == verified(folder, replay=True) != []


def test_a_strangers_survey_is_replayed_once_and_known_from_then_on(
    tmp_path: Path, states: Path
) -> None:
    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    day(folder, random.Random(2), seal=False)
    shutil.rmtree(states)
    assert verified(folder) == []
    with folder.reading() as reader:
        newest = reader.latest("sealed")
        assert newest is not None
        assert begun_at(reader) == newest.seq
        short, long = followed(reader), followed(reader, from_start=True)
    assert (short.memory, short.known.survey) == (long.memory, long.known.survey)


def test_a_start_that_replayed_much_keeps_where_it_led_if_the_chain_holds(
    tmp_path: Path, states: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept_state, "_WORTH_KEEPING", 3)
    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    shutil.rmtree(states)
    whole = folder.database.read_bytes()
    with closing(sqlite3.connect(folder.database)) as database:
        sql = [row[0] for row in database.execute("SELECT sql FROM sqlite_master WHERE "
                                                  "type='trigger'")]  # fmt: skip
        for name in ("keep", "stay", "follow"):
            database.execute(f"DROP TRIGGER entries_{name}")
        database.execute("UPDATE entries SET at=replace(at, '2026', '2025') WHERE seq=3")
        for line in sql:
            database.execute(line)
        database.commit()
    with folder.reading() as reader:
        followed(reader)
        assert begun_at(reader) == 0, "nothing is kept of what does not hold"
    folder.database.write_bytes(whole)
    with folder.reading() as reader:
        followed(reader)
        assert begun_at(reader) == reader.last
    assert verified(folder) == []


def test_settings_edited_after_the_seal_take_effect(tmp_path: Path, states: Path) -> None:
    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    text = folder.settings.read_text()
    folder.settings.write_text(text.replace('graduation = "0.1"', 'graduation = "0.5"'))
    with at_work(folder, None, clock()) as station:
        now = station.survey
    with folder.reading() as reader:
        assert now == followed(reader, from_start=True).known.survey
    assert any(str(plot.settings.graduation) == "0.5" for plot in now.plots.values())


def test_a_start_loads_the_plot_it_works_in_and_a_seal_leaves_the_others_as_they_are(
    tmp_path: Path, states: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, read = survey(tmp_path / "harrow"), list[str]()
    load = Parts.of
    monkeypatch.setattr(
        Parts, "of", lambda self, plot, what: (read.append(plot), load(self, plot, what))[1]
    )
    for plot, words in (("K1", "83 25.1"), ("K2", "101 30.4"), ("K1", "91 12.9")):
        read.clear()
        with at_work(folder, None, clock()) as station:
            with folder.reading() as reader:
                assert dict(plots_now(reader)).keys() == {"K1", "K2"}
                notices(reader, station.survey, datetime(2026, 6, 3, tzinfo=UTC))
            station.open(plot, "R.V.")
            station.type(words)
            station.press("accept", about=station.memory.asking)
            assert set(read) <= {plot}, "also when it is asked what is new"
            seal_session(folder, station)
    assert read, "the third start began from a kept state"
    with folder.reading() as reader:
        short, long = resume(reader).session, followed(reader, from_start=True)
        assert short.memory == long.memory
        assert repr(short.memory) == repr(long.memory)
        assert short.known.survey == long.known.survey
        assert plots_now(reader) == reader.plots()
    assert verified(folder, replay=True) == []


def test_a_state_cut_off_while_it_is_in_use_is_told_and_the_next_start_does_without(
    tmp_path: Path, states: Path
) -> None:
    """A plot is read when the work comes to it: what a start found whole may be gone by then."""
    folder = survey(tmp_path / "harrow")
    day(folder, random.Random(1), seal=True)
    (path,) = states.glob("*.state")
    with at_work(folder, None, clock()) as station:
        with path.open("r+b") as file:
            file.truncate(200)
        with pytest.raises(StorageError, match=r"\.state was cut off; start again"):
            station.open("K1", "R.V.")
    day(folder, random.Random(2), seal=True)
    assert verified(folder, replay=True) == []
