"""A screen that stands before its station: what is typed meanwhile is taken, in order. Invented."""

from __future__ import annotations

import threading
from pathlib import Path

from in_english import part
from journal_tools import survey
from station_tools import at_work, said, told_by

from callout.session.phase import Phase
from callout.station.showing.presenter import StationFace
from callout.station.starting import StartingFace
from callout.terminal.labels import state


def test_what_is_typed_while_it_starts_is_taken_in_order(tmp_path: Path) -> None:
    begun: list[bool] = []
    starting = StartingFace("fen", lambda: begun.append(True))
    seen: list[object] = []
    starting.listen(seen.append)
    starting.listen(seen.append)
    assert begun == [True], "the station is made once, and not before a screen stands"
    assert starting.view().phase is Phase.STARTING
    assert part(state(starting.view())) == "STARTING: YOU CAN TYPE"
    lines = [f"61 {size}.5" for size in range(10, 60)]
    for line in lines[:25]:
        starting.submit(line, 0)
    assert starting.lines == tuple(lines[:25])
    assert starting.view().heard == lines[24]
    with at_work(survey(tmp_path / "fen")) as station:
        station.open("K1", "R.V.")
        done = told_by(station)
        face = StationFace(station, lambda muted: None)
        typing = threading.Thread(target=lambda: [starting.submit(one, 0) for one in lines[25:]])
        typing.start()
        starting.became(face)
        typing.join()
        starting.press("repeat", 0)
        face.close()
        heard = [one.event.words for one in done if one.event is not None]
    assert heard == [*lines, "repeat"]
    assert starting.lines == ()
    assert starting.view().phase is not Phase.STARTING
    assert said(done)


def test_a_yes_typed_before_anything_was_seen_saves_nothing(tmp_path: Path) -> None:
    with at_work(survey(tmp_path / "fen")) as station:
        station.open("K1", "R.V.")
        station.type("61 18.5")
        starting = StartingFace("fen")
        starting.submit("yes", 0)
        face = StationFace(station, lambda muted: None)
        starting.became(face)
        face.close()
        assert station.memory.pending is not None
        assert station.memory.undoable == ()
