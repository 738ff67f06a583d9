"""Lines that nobody can have meant are told, and not kept whole. All invented."""

from __future__ import annotations

import io
from pathlib import Path

from journal_tools import survey
from station_tools import at_work, clock, said, told_by

from callout.cli.field.listen_headless import _lines


def test_a_line_of_megabytes_is_refused_and_not_journalled_whole(tmp_path: Path) -> None:
    folder = survey(tmp_path / "harrow")
    with at_work(folder, None, clock()) as station:
        station.open("K1", "R.V.")
        done = told_by(station)
        station.type("9" * 3_000_000)
        station.type("note")
        station.type("x " * 2_000_000)
        assert station.memory.memo is None, "no note either"
    assert any("a line of 3000000 characters" in text.lower() for text in said(done))
    assert folder.database.stat().st_size < 200_000


def test_a_stream_without_line_ends_is_read_in_bounded_pieces() -> None:
    stream = io.StringIO("83 24.6\n" + "9" * 500_000 + "\n91 12.9\nno end")
    lines = list(_lines(stream))
    assert [line.strip() for line in lines if len(line) < 100] == ["83 24.6", "91 12.9", "no end"]
    assert len(lines) == 4 and max(map(len, lines)) <= 20_000
