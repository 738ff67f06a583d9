"""An invented site as offices get it: three recorders, two plots, two years, and what is wrong."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from datetime import date
from decimal import Decimal
from pathlib import Path

from crew_tools import clock_from, stages, unite
from journal_tools import trees
from station_tools import at_work

from callout.cli.main import main
from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.units import Unit
from callout.journal.folder import SurveyFolder, make_survey
from callout.journal.schema import MIGRATIONS

NASTY = '<img src=x onerror="document.title=1">'
A_YEAR = 365 * 24 * 60  # minutes


def planted(where: Path) -> Path:
    """The site, at ``where/site``.

    2026: K1 83 measured twice with values that disagree; T.A.'s sound erased. 2027: 83 grew far
    too fast, 91 and 101 were left out, a note was typed.
    """
    crews = [folders[-1] for folders in stages(where)]
    words = ["--reason", "asked to", "--who", "Office", "--yes"]
    assert main(["erase", str(crews[2]), "--person", "t. a.", *words]) == 0
    unite(where / "site", *crews, next_year(where / "later"))
    return where / "site"


def next_year(path: Path) -> Path:
    """The survey of 2027, where a species is a stranger's markup."""
    past = (PastMeasurement(date(2026, 6, 2), Decimal("24.6"), Unit.INCH),)
    roster = (Tree("K1", "83", NASTY, past), *trees()[1:])
    inches = PlotSettings(plot="K1", unit=Unit.INCH)
    at = "2027-06-01T08:00:00.000+02:00"
    folder = make_survey(path, roster, PlotSettings(plot=""), {"K1": inches}, at)
    with at_work(folder, None, clock_from(A_YEAR)) as station:
        station.open("K1", "R.V.")
        station.type("83 29.9")
        for _ in range(3):
            if station.memory.pending:
                station.press("accept")
        for typed in ("note", "crown broken in the storm", "yes"):
            station.type(typed)
    return path


def forge(site: Path) -> str:
    """Alter a reading's words in one copy, the trigger put back; gives the copy's name."""
    copy = sorted((site / "recorders").iterdir())[0]
    database = copy / "journal.db"
    with closing(sqlite3.connect(database)) as opened:
        trigger = "entries_keep"
        (made,) = opened.execute(
            "SELECT sql FROM sqlite_master WHERE name=?", (trigger,)
        ).fetchone()
        assert made in MIGRATIONS[0][1]
        opened.execute(f"DROP TRIGGER {trigger}")
        rows = opened.execute("SELECT seq, body FROM entries WHERE kind='heard'").fetchall()
        seq, body = rows[0][0], json.loads(rows[0][1])
        body["words"] = "something else"
        opened.execute("UPDATE entries SET body=? WHERE seq=?", (json.dumps(body), seq))
        opened.execute(made)
        opened.commit()
    return copy.name


def folders(site: Path) -> list[SurveyFolder]:
    """Every recorder's copy."""
    return [SurveyFolder(path) for path in sorted((site / "recorders").iterdir())]
