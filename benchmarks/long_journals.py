"""How verify and a start grow with a journal that holds as many trees as real seasons do.

``python benchmarks/long_journals.py [--entries 5000,20000,100000]``: invented surveys of plots with
100 trees each, every tree called and confirmed once by typing (two entries a tree, and one a plot
opened), sealed at the end. Plots repeat one another after the fifth, so that the rows of the first
five, which a session gives, serve for all; the replay that is measured first holds every row
against a session of its own. The state at the seal is put together from the rows, and held against
what the replay comes to; with ``--no-replay`` it is taken as it is, since a replay of a million
entries takes minutes. For each: seconds and peak memory of ``verify --replay``, which relies
on nothing (as the first verification on another machine does), of ``verify`` where this machine
knows the state at the seal, and of a start's whole work before the recogniser, each in a process of
its own; medians of the runs. ``us`` is microseconds an entry, ``ratio`` the time's to the row
before.
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from itertools import groupby
from pathlib import Path

from callout.core.events import Heard, Opened
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.units import Unit
from callout.journal.codec import canonical, event_parts, reading_row, stamp
from callout.journal.folder import SurveyFolder, make_survey, open_survey
from callout.journal.reader import Entry
from callout.journal.schema import connect
from callout.journal.writer import JournalWriter, entry_hash
from callout.proof.seals import seal
from callout.proof.source import TABLES
from callout.session.records import Done, Saved
from callout.session.state import Memory
from callout.station.upkeep.kept_state import keep, resume, rolled, standing
from callout.station.upkeep.rebuild import Row, Session, rows_of

RUNS = 3
TREES_A_PLOT = 100
REPEATS = 500
"""Sizes come again after so many trees: five plots."""
BEGAN = datetime(2026, 5, 4, 8, 0, tzinfo=timezone(timedelta(hours=2)))
PAST = date(2021, 7, 8)


def roster(trees: int) -> tuple[Tree, ...]:
    """Invented: beeches of 10 to 60 cm, measured five years before."""
    return tuple(
        Tree(
            f"P{number // TREES_A_PLOT + 1}",
            str(number % TREES_A_PLOT + 1),
            "beech",
            (PastMeasurement(PAST, former(number), Unit.CENTIMETRE),),
        )
        for number in range(trees)
    )


def former(number: int) -> Decimal:
    return Decimal(100 + number * 37 % REPEATS) / 10


def events(trees: int, first: int) -> Iterator[Opened | Heard]:
    """What happened, each event numbered."""
    entry = first
    for number in range(trees):
        at = stamp(BEGAN + timedelta(seconds=20 * number))
        if number % TREES_A_PLOT == 0:
            yield Opened(entry, at, f"P{number // TREES_A_PLOT + 1}", "R.V.")
            entry += 1
        tag, size = str(number % TREES_A_PLOT + 1), former(number) + Decimal("1.2")
        called = Meaning("reading", tag, size)
        yield Heard(entry, at, "typed", f"{tag} {size}", (called,))
        yield Heard(entry + 1, at, "key", "accept", (Meaning("accept"),), about=entry)
        entry += 2


def made(where: Path, entries: int) -> SurveyFolder:
    """A sealed survey with about so many entries, written in one transaction and sealed unchecked.

    Chain and rows are those of a session; there was no waiting for the disk.
    """
    trees = round(entries / (2 + 1 / TREES_A_PLOT))
    folder = make_survey(where, roster(trees), PlotSettings(plot=""), {}, stamp(BEGAN))
    session = Session()
    with folder.reading() as reader:
        for entry in reader.entries():
            session.take(entry)
            before = entry.hash
        first = (reader.last or 0) + 1
    known: list[Row] = []
    with closing(connect(folder.database)) as database:
        database.execute("PRAGMA synchronous=OFF")
        database.execute("BEGIN")
        number, plot = 0, ""
        for event in events(trees, first):
            kind, body = event_parts(event)
            text = canonical(body)
            digest = entry_hash(event.entry, event.at, kind, text, before)
            entry = Entry(event.entry, event.at, kind, text, before, digest)
            insert(database, "entries", entry.columns)
            before, plot = digest, event.plot if isinstance(event, Opened) else plot
            saved: list[Row] = []
            if len(known) < REPEATS:
                saved = [row for _, row in rows_of(session.take(entry))]
                known += saved
            elif isinstance(event, Heard) and event.about is not None:
                alike = known[number % REPEATS]
                saved = [{**alike, "entry": event.entry, "at": event.at, "plot": plot}]
            for row in saved:
                insert(database, "readings", row)
            number += len(saved)
        database.execute("COMMIT")
    with closing(JournalWriter(folder.database)) as writer:
        seal(folder, writer, stamp(BEGAN + timedelta(days=200)))
    return folder


def insert(database: sqlite3.Connection, table: str, row: Row) -> None:
    columns, marks = ",".join(row), ",".join("?" * len(row))
    database.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", tuple(row.values()))


def keep_from_rows(folder: SurveyFolder) -> None:
    """Keep the state at the seal as a replay would, made of the rows: one reading a stem, no undo.

    Only the last plot goes through a session.
    """
    session = Session()
    with folder.reading() as reader:
        readings = reader.readings()
        newest = reader.latest("opened")
        assert newest is not None
        for entry in reader.entries():
            if entry.event is not None:
                break
            session.take(entry)
        saved, done = Saved(), Done()
        rows = dict.fromkeys(TABLES, b"")
        for plot, own in groupby(readings, key=lambda item: item.plot):
            these = tuple(own)
            if these[0].entry > newest.seq:
                break
            done = done.having(plot, these)
            for item in these:
                saved = saved.having(item)
                rows["readings"] = rolled(rows["readings"], reading_row(item))
        session.memory = Memory(saved=saved, done=done)
        before = reader.entry(newest.seq - 1)
        assert before is not None
        at = standing(session, before, rows)
        for entry in reader.entries(after=before.seq):
            at = at.after(entry)
    keep(at)


def kept(folder: SurveyFolder) -> tuple[int, object, object]:
    """The kept state, all of it looked into."""
    with folder.reading() as reader:
        found = resume(reader)
        return found.entry, found.session.memory, (found.session.known.survey, found.rows)


# ---- what is measured, in a process of its own ----


def verify(path: Path) -> int:
    from callout.station.upkeep.verifying import verify_survey

    report = verify_survey(open_survey(path))
    assert not report.faults, report.faults[0]
    return report.entries


def replay(path: Path) -> int:
    from callout.station.upkeep.verifying import verify_survey

    report = verify_survey(open_survey(path), replay=True)
    assert not report.faults, report.faults[0]
    return report.entries


def start(path: Path) -> int:
    from callout.sound.coarser import pcm_within
    from callout.sound.sound_files import encode_flac
    from callout.station.data import load_language
    from callout.station.scopes import survey_species
    from callout.station.station import Station
    from callout.station.upkeep.kept_state import plots_now
    from callout.station.upkeep.tidy import tidy

    folder = open_survey(path)
    with folder.reading() as reader:
        plots = plots_now(reader)
    language = load_language("en", survey_species(plots.values()), tuple(plots))
    station = Station(folder, language, None, encode_flac, datetime.now)
    tidy(folder, station.record, pcm_within)
    with folder.reading() as reader:
        last = reader.last or 0
    station.close()
    return last


WORK = {"replay": replay, "verify": verify, "start": start}


def measured(path: Path, what: str, runs: int) -> tuple[float, float]:
    """Median seconds, and MB at the peak over those of the bare program."""
    found = []
    for _ in range(runs):
        done = subprocess.run(
            [sys.executable, __file__, "--do", what, str(path)],
            capture_output=True,
            text=True,
            check=True,
        )
        seconds, megabytes = done.stdout.split()
        found.append((float(seconds), float(megabytes)))
    return statistics.median(item[0] for item in found), max(item[1] for item in found)


def _do(what: str, path: Path) -> None:
    import callout.station.upkeep.verifying  # what the work itself needs is loaded before

    assert callout.station.upkeep.verifying
    bare = peak_kb()
    started = time.process_time()
    WORK[what](path)
    took_s = time.process_time() - started
    print(f"{took_s:.3f} {(peak_kb() - bare) / 1024:.0f}")


def peak_kb() -> int:
    """The most memory so far; the system's ``ru_maxrss`` may be that of who started the process."""
    told = Path("/proc/self/status").read_text().partition("VmHWM:")[2]
    return int(told.split()[0])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", default="5000,20000,100000")
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--no-replay", action="store_true")
    parser.add_argument("--do", nargs=2, metavar=("WORK", "FOLDER"), help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.do:
        _do(args.do[0], Path(args.do[1]))
        return
    print("| entries | trees | " + " | ".join(f"{w} CPU s | us | ratio | MB" for w in WORK) + " |")
    before: dict[str, float] = {}
    for entries in map(int, args.entries.split(",")):
        with tempfile.TemporaryDirectory() as place:
            folder = made(Path(place) / "survey", entries)
            with folder.reading() as reader:
                count, trees = reader.last or 0, sum(1 for _ in reader.reading_rows("entry"))
            cells = [str(count), str(trees)]
            keep_from_rows(folder)
            state = None if args.no_replay else kept(folder)
            for what in WORK:
                if what == "replay" and args.no_replay:
                    cells += ["-"] * 4
                    continue
                seconds, megabytes = measured(folder.path, what, args.runs)
                ratio = f"{seconds / before[what]:.1f}" if what in before else "-"
                micro = 1e6 * seconds / count
                cells += [f"{seconds:.2f}", f"{micro:.0f}", ratio, f"{megabytes:.0f}"]
                before[what] = seconds
                assert what != "replay" or kept(folder) == state, "made of the rows: another state"
        print("| " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
