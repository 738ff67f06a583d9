"""Uniting journals: any order and any repetition of any split gives the same site.

``CALLOUT_MERGE_TRIALS`` sets how many random orders are tried on disk (default 12). Crews and
readings are invented.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from crew_tools import content, folder_content, found_in, stages, unite
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_tools import survey
from station_tools import at_work

from callout.cli.main import main
from callout.core.errors import CalloutError, OperatorError
from callout.crews import merge as merging
from callout.crews.pool import ForkError, chain, pooled, waiting
from callout.crews.recorder import recorder_of
from callout.crews.site import Site, site_folders
from callout.journal.folder import SurveyFolder
from callout.journal.holder import holder_in
from callout.journal.reader import Entry
from callout.journal.removals import KIND as REMOVED
from callout.journal.removals import removal_body
from callout.journal.writer import GENESIS, JournalWriter, entry_hash
from callout.proof.verify import take_snapshot, verify_journal
from callout.station.upkeep.rebuild import Session
from callout.station.upkeep.sealing import seal_session
from callout.station.upkeep.table_check import table_faults

TRIALS = int(os.environ.get("CALLOUT_MERGE_TRIALS", "12"))


@pytest.fixture(scope="module")
def crews(tmp_path_factory: pytest.TempPathFactory) -> list[list[Path]]:
    return stages(tmp_path_factory.mktemp("crews"))


@pytest.fixture(scope="module")
def whole(crews: list[list[Path]], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the site holds when each crew's latest folder is united once."""
    site = tmp_path_factory.mktemp("whole") / "site"
    unite(site, *(folders[-1] for folders in crews))
    return content(site)


# ---- any split, any order, any repetition ----


def journal(recorder: int, length: int) -> list[Entry]:
    """A chain of entries, invented."""
    entries, before = [], GENESIS
    for seq in range(1, length + 1):
        at, body = f"2026-06-02T09:{seq:02}:00.000+02:00", f'{{"recorder":{recorder}}}'
        digest = entry_hash(seq, at, "heard", body, before)
        entries.append(Entry(seq, at, "heard", body, before, digest))
        before = digest
    return entries


JOURNALS = {str(recorder): journal(recorder, 12) for recorder in range(3)}
EVERY = [(name, entry) for name, entries in JOURNALS.items() for entry in entries]


@given(
    parts=st.lists(st.lists(st.sampled_from(EVERY), max_size=20), max_size=8), order=st.randoms()
)
def test_any_split_of_entries_gives_the_same_pool(parts, order):
    """Parts that overlap, repeat and leave gaps; the rest comes last, in any order too."""
    rest = list(EVERY)
    order.shuffle(rest)
    given_parts = [(name, [entry]) for part in parts for name, entry in part]
    given_parts += [(name, [entry]) for name, entry in rest]
    found = pooled(given_parts)
    assert {name: chain(entries) for name, entries in found.items()} == JOURNALS


@given(st.sets(st.integers(1, 12)))
def test_what_stands_behind_a_gap_waits(numbers):
    known = {entry.seq: entry for entry in JOURNALS["0"] if entry.seq in numbers}
    usable = chain(known)
    assert [entry.seq for entry in usable] == list(range(1, len(usable) + 1))
    assert len(usable) + 1 not in numbers
    assert waiting(known) == len(numbers) - len(usable)


@settings(max_examples=TRIALS, deadline=None)
@given(data=st.data())
def test_any_order_and_repetition_of_folders_gives_the_same_site(data, crews, whole):
    """Folders as they were at any hour, several at once or one by one, sites among them, repeated;

    once each crew's latest has come, the site is the same, bit for bit.
    """
    early = [folder for folders in crews for folder in folders]
    latest = [folders[-1] for folders in crews]
    chosen = data.draw(st.lists(st.sampled_from(early), max_size=6)) + latest
    order = data.draw(st.permutations(chosen))
    numbers = count()
    with tempfile.TemporaryDirectory() as temporary:
        place = Path(temporary)
        while len(order) > 0:
            size = data.draw(st.integers(1, len(order)))
            batch, order = order[:size], order[size:]
            if data.draw(st.booleans()):
                between = place / f"between-{next(numbers)}"
                unite(between, *batch)
                batch = [between]
            unite(place / "site", *batch)
        assert content(place / "site") == whole
        verified(place / "site")


def verified(site: Path) -> None:
    """Each recorder's own chain, seals, sounds and tables are intact."""
    for path in (site / "recorders").iterdir():
        folder = SurveyFolder(path)
        snapshot = take_snapshot(folder.database)
        report = verify_journal(folder, snapshot)
        assert report.faults + table_faults(snapshot) == []
        assert report.sounds > 0
        assert report.seals > 0


def test_a_copy_is_the_recorders_journal(crews, whole):
    for folders in crews:
        mine = folder_content(SurveyFolder(folders[-1]))
        assert mine in whole.values()
        assert len(mine["sounds"]) == len(folders)


def test_again_adds_nothing_and_touches_nothing(crews, tmp_path):
    site = tmp_path / "site"
    unite(site, crews[0][-1], crews[1][-1])
    before = {path: path.stat().st_mtime_ns for path in site.rglob("*") if path.is_file()}
    done = unite(site, crews[1][-1], crews[0][-1], crews[0][0])
    assert set(done.new.values()) == {0}
    after = {path: path.stat().st_mtime_ns for path in site.rglob("*") if path.is_file()}
    assert after == before


# ---- what cannot be united ----


def test_a_fork_is_refused_by_its_entry_and_nothing_is_written(crews, tmp_path):
    """A folder copied after it was opened, and worked in on both machines."""
    here, there = tmp_path / "here", tmp_path / "there"
    for path, typed in ((here, "91 12.4"), (there, "91 12.5")):
        shutil.copytree(crews[0][0], path)
        with at_work(SurveyFolder(path)) as station:
            station.open("K1", "R.V.")
            station.type(typed)
            station.press("accept")
    forks = len(take_snapshot(crews[0][0] / "journal.db").entries)
    forked = forks + 2  # both open alike; the clocks of the tests are the same
    site = tmp_path / "site"
    with pytest.raises(ForkError, match=rf"go different ways at entry {forked}:"):
        unite(site, here, there)
    assert not site.exists()
    unite(site, here)
    before = content(site)
    with pytest.raises(ForkError, match="copied after it had been opened"):
        unite(site, crews[1][-1], there)
    assert content(site) == before


def altered(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / "journal.db")) as database, database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type='trigger'"):
            database.execute(f"DROP TRIGGER {name}")
        database.execute(statement)


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE entries SET body=replace(body, '24.6', '26.4') WHERE kind='heard'", "not intact"),
        ("UPDATE readings SET value='26.4'", "not intact"),
        ("DELETE FROM entries WHERE seq=4", "not intact"),
        ("DELETE FROM entries WHERE seq=(SELECT max(seq) FROM entries)", "cut off|not intact"),
    ],
)
def test_a_journal_that_is_not_intact_is_refused(crews, tmp_path, statement, says):
    broken = tmp_path / "broken"
    shutil.copytree(crews[0][-1], broken)
    altered(broken, statement)
    with pytest.raises(OperatorError, match=says):
        unite(tmp_path / "site", crews[1][-1], broken)
    assert not (tmp_path / "site").exists()


def test_a_site_that_was_altered_takes_nothing_more(crews, tmp_path):
    site = tmp_path / "site"
    unite(site, crews[0][-1])
    (copy,) = (site / "recorders").iterdir()
    altered(copy, "UPDATE entries SET at='2026-06-02T09:00:00+02:00' WHERE seq=3")
    with pytest.raises(OperatorError, match="not intact"):
        unite(site, crews[1][-1])


def test_a_survey_that_nobody_opened_holds_nothing_to_unite(tmp_path):
    made = survey(tmp_path / "made").path
    assert found_in(made) == []
    with pytest.raises(OperatorError, match="nothing to unite"):
        unite(tmp_path / "site", made)
    assert not (tmp_path / "site").exists()


def test_a_place_that_is_something_else(crews, tmp_path):
    with pytest.raises(OperatorError, match="no united site"):
        unite(crews[1][-1], crews[0][-1])
    with pytest.raises(OperatorError, match="no folder"):
        unite(tmp_path / "no" / "site", crews[0][-1])


def test_a_copy_is_never_added_to(crews, tmp_path):
    site = tmp_path / "site"
    unite(site, crews[0][-1])
    (copy,) = (site / "recorders").iterdir()
    with pytest.raises(OperatorError, match="copy at a united site"):
        JournalWriter(copy / "journal.db")


def test_a_lost_recorder_goes_on_from_the_sites_copy(crews, tmp_path):
    """As the notice in each copy says."""
    site, again = tmp_path / "site", tmp_path / "again"
    unite(site, crews[0][0])
    (copy,) = (site / "recorders").iterdir()
    shutil.copytree(copy, again)
    (again / "united.txt").unlink()
    with at_work(SurveyFolder(again)) as station:
        station.open("K1", "R.V.")
        station.type("91 12.3")
        station.press("accept")
    assert sum(unite(site, again).new.values()) > 0
    assert len(list((site / "recorders").iterdir())) == 1


# ---- sounds ----


def test_an_altered_sound_is_refused(crews, tmp_path):
    broken = tmp_path / "broken"
    shutil.copytree(crews[0][-1], broken)
    next((broken / "audio").glob("*.flac")).write_bytes(b"other")
    with pytest.raises(CalloutError, match="altered"):
        unite(tmp_path / "site", broken)
    assert not list((tmp_path / "site").glob("recorders/*"))


def test_sounds_may_come_another_day(crews, whole, tmp_path):
    bare, site = tmp_path / "bare", tmp_path / "site"
    shutil.copytree(crews[0][-1], bare, ignore=shutil.ignore_patterns("*.flac"))
    done = unite(site, bare, crews[1][-1], crews[2][-1])
    assert "2 sounds are in none of the folders" in done.notes[0]
    assert unite(site, crews[0][-1]).notes == []
    assert content(site) == whole


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_sound_that_was_ordered_away_goes_here_too(crews, tmp_path, order):
    later, site = tmp_path / "later", tmp_path / "site"
    shutil.copytree(crews[0][-1], later)
    gone = sorted(path.stem for path in (later / "audio").glob("*.flac"))[0]
    writer = JournalWriter(later / "journal.db")
    writer.append("2026-06-03T09:00:00.000+02:00", REMOVED, removal_body([gone], "asked", "R.V."))
    writer.close()
    for number in order:
        unite(site, (crews[0][-1], later)[number])
    (copy,) = (site / "recorders").iterdir()
    left = [path.stem for path in (copy / "audio").glob("*.flac")]
    assert gone not in left
    assert len(left) == 1


# ---- settings, and a merge that was cut short ----


def test_settings_of_the_longest_journal_stand(crews, tmp_path):
    """In either order; of equally long ones, one and the same is taken in either order."""
    edited = tmp_path / "edited"
    shutil.copytree(crews[0][-1], edited)
    text = (edited / "survey.toml").read_text().replace('name = "made"', 'name = "zealous"')
    (edited / "survey.toml").write_text(text)
    for number, order in enumerate(([edited, crews[0][-1]], [crews[0][-1], edited])):
        for path in order:
            unite(tmp_path / f"site{number}", path)
    unite(tmp_path / "site2", edited, crews[0][0])
    unite(tmp_path / "site2", crews[0][0])
    sites = [content(tmp_path / f"site{number}") for number in range(3)]
    assert sites[0] == sites[1] == sites[2]
    assert all(b"zealous" in part["settings"] for part in sites[0].values())


def cutting(calls: int, real: Callable[..., Any]) -> Callable[..., Any]:
    """``real``, until it was called so many times; then the process is taken to have died."""
    left = iter(range(calls))

    def cut(*args: Any, **names: Any) -> Any:
        if next(left, None) is None:
            raise KeyboardInterrupt
        return real(*args, **names)

    return cut


@pytest.mark.parametrize("function", ["write_whole", "write_journal", "sync_folder"])
@pytest.mark.parametrize("calls", range(4))
def test_a_merge_cut_short_is_finished_by_the_next(
    crews, whole, tmp_path, monkeypatch, function, calls
):
    site = tmp_path / "site"
    with monkeypatch.context() as patch:
        patch.setattr(merging, function, cutting(calls, getattr(merging, function)))
        cut = False
        try:
            unite(site, *(folders[-1] for folders in crews))
        except KeyboardInterrupt:
            cut = True
    assert cut or calls == 3
    assert site.exists() or cut
    for path in (site / "recorders").glob("*/journal.db"):
        assert take_snapshot(path).faults == []
    unite(site, *(folders[-1] for folders in crews))
    assert content(site) == whole
    verified(site)


# ---- two machines ----


def at_machine(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on this is another machine: its number, its cache and its key are its own."""
    home.mkdir()
    for variable, part in (("STATE", "state"), ("CACHE", "cache")):
        monkeypatch.setenv(f"XDG_{variable}_HOME", str(home / part))
    monkeypatch.setenv("CALLOUT_KEY", str(home / "seal.pem"))


def test_what_two_machines_did_is_replayed_in_full_where_it_is_united(
    tmp_path, monkeypatch, capsys
):
    """Each signs its own; the third knows neither, and makes every reading again."""
    folders, machines, read = [], set(), {}
    for name, who, said in (("one", "R.V.", "91 12.4"), ("two", "M.O.", "83 25.1")):
        at_machine(tmp_path / name, monkeypatch)
        made = survey(tmp_path / name / "fen")
        assert main(["key", str(made.path), "--who", who]) == 0
        for _ in range(2):
            with at_work(made) as station:
                station.open("K1", who)
                station.type(said)
                for _ in range(2):  # accept what the checks question
                    station.press("accept", about=station.memory.asking)
                assert seal_session(made, station)[1] == ""
        with made.reading() as reader:
            machines.add(holder_in(reader.latest("settings").content))
            read[who] = reader.readings()
        folders.append(str(made.path))
    assert len(machines) == 2
    assert all(read.values())
    at_machine(tmp_path / "office", monkeypatch)
    site = tmp_path / "site"
    assert main(["merge", *folders, "--into", str(site), "--ask-nothing"]) == 0
    taken, take = [], Session.take
    monkeypatch.setattr(
        Session, "take", lambda self, entry: (taken.append(entry.seq), take(self, entry))[1]
    )
    assert main(["verify", str(site), "--replay"]) == 0
    assert capsys.readouterr().out.count("intact: ") == 2
    united = site_folders(Site(site))
    every = []
    for folder in united:
        with folder.reading() as reader:
            every += range(1, reader.last + 1)
            assert reader.readings() == read[recorder_of(reader.entries()).who]
    assert sorted(taken) == sorted(every), "every entry, once"


# ---- a copy that was taken wrongly ----


@pytest.fixture
def signed(tmp_path, monkeypatch):
    """A survey with a key, sealed and signed."""
    monkeypatch.setenv("CALLOUT_KEY", str(tmp_path / "home" / "seal.pem"))
    made = survey(tmp_path / "signed")
    assert main(["key", str(made.path), "--who", "R.V."]) == 0
    with at_work(made) as station:
        station.open("K1", "R.V.")
        station.type("91 12.4")
        station.press("accept")
        assert seal_session(made, station)[1] == ""
    return made


def with_false_signature(folder: Path, into: Path) -> Path:
    shutil.copytree(folder, into)
    path = into / "seals.txt"
    path.write_text(path.read_text()[:-9] + "deadbeef\n")
    return into


def test_a_false_signature_is_not_taken(signed, tmp_path):
    false = with_false_signature(signed.path, tmp_path / "false")
    with pytest.raises(OperatorError, match=r"not intact and is not taken.*signature"):
        unite(tmp_path / "site", false)
    assert not (tmp_path / "site").exists()


def test_a_copy_that_was_taken_wrongly_can_be_put_right(signed, tmp_path, capsys):
    """As an earlier version took it: the false signature stands in the site."""
    site = tmp_path / "site"
    unite(site, signed.path)
    (copy,) = (site / "recorders").iterdir()
    right = (copy / "seals.txt").read_text()
    (copy / "seals.txt").write_text(right[:-9] + "deadbeef\n")
    command = ["merge", str(signed.path), "--into", str(site), "--ask-nothing"]
    assert main(command) == 2
    assert f"--replace {copy.name[:8]}" in capsys.readouterr().err
    assert main([*command, "--replace", "ffff"]) == 2
    assert main([*command, "--replace", copy.name[:8]]) == 0
    assert (copy / "seals.txt").read_text() == right
    assert main(["verify", str(site)]) == 0
    (aside,) = (site / "put-aside").iterdir()
    assert (aside / "seals.txt").read_text().endswith("deadbeef\n"), "kept, out of the way"
