"""A journal from before the dialogue's rules were changed gives what was saved then, row for row.

``earlier_journal.jsonl`` was written by the program as it was then, by hand-made callouts that the
rules of today answer otherwise (invented): a correction after a refused callout, a status beside a
stem, a plain yes to a second size, a note left off, presses that a desk joined.
"""

from __future__ import annotations

import json
from pathlib import Path

from station_tools import BEGAN, at_work

from callout.cli.main import main
from callout.journal.codec import reading_from
from callout.journal.copying import write_journal
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry, current
from callout.journal.schema import LATER_COLUMNS
from callout.practice.demo import make_demo_survey
from callout.station.upkeep.rebuild import made_again

EARLIER = Path(__file__).with_name("earlier_journal.jsonl")


def parts() -> tuple[list[Entry], list[dict]]:
    lines = [json.loads(line) for line in EARLIER.read_text(encoding="utf-8").splitlines()]
    entries = [Entry(**line["entry"]) for line in lines if "entry" in line]
    return entries, [line["readings"] for line in lines if "readings" in line]


def earlier_survey(path: Path) -> SurveyFolder:
    folder = make_demo_survey(path, BEGAN)
    entries, rows = parts()
    folder.database.unlink()
    write_journal(folder.database, entries, {"readings": rows})
    return folder


def test_every_row_is_given_again() -> None:
    entries, rows = parts()
    tables, faults = made_again(entries)
    assert not faults
    later = LATER_COLUMNS["readings"]
    assert tables["readings"] == [{**later, **row} for row in rows]
    assert len(rows) == 25
    assert tables["memos"] == []


def test_it_opens_is_verified_and_is_worked_in_by_the_rules_of_today(tmp_path: Path) -> None:
    folder = earlier_survey(tmp_path / "s")
    _, rows = parts()
    with at_work(folder) as station:
        assert station.memory.saved[("K2", "104", "")].value is not None
        standing = current([reading_from(row) for row in rows])
        assert sorted(item.entry for item in station.memory.saved.values()) == sorted(
            item.entry for item in standing
        )
        station.open("K2", "R.V.")
        station.type("correction 43.0")
        assert station.memory.pending is None
    assert main(["verify", str(folder.path)]) == 0
