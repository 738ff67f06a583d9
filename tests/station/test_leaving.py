"""What leaving tells: readings that stand, trees left in the plot, and what was not finished."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import in_english
import pytest
from journal_tools import survey
from station_tools import clock

from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.showing.leaving import Tally
from callout.station.station import Station


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    made = Station(survey(tmp_path / "harrow"), load_language("en"), None, encode_flac, clock())
    with closing(made):
        made.open("K1", "R.V.")
        yield made


def after(station: Station, *lines: str) -> str:
    tally = Tally(station)
    for line in lines:
        station.type(line)
    return in_english.told(tally.told())


def test_nothing_was_done(station: Station) -> None:
    assert after(station).startswith("0 saved, ")


def test_a_reading_that_waits_is_not_counted_and_is_named(station: Station) -> None:
    told = after(station, "83 25.1", "accept", "91 9.9")
    assert told.startswith("1 saved, ") and "tree 91 still waits for its yes" in told


def test_what_was_called_again_counts_once_and_what_was_undone_not_at_all(station: Station) -> None:
    twice = after(station, "83 25.1", "accept", "83 25.3", "accept")
    assert twice == "1 saved, 1 left in this plot."
    assert after(station, "undo", "accept", "undo", "accept").startswith("0 saved, ")
    again = after(station, "83 25.1", "accept", "undo", "accept", "83 25.3", "accept")
    assert again.startswith("1 saved, ")


def test_a_tree_that_was_named_waits_for_its_diameter(station: Station) -> None:
    assert "tree 91 still waits for its diameter" in after(station, "tree 91")
