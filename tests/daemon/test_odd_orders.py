"""Odd lines over the live socket: each is answered, nothing is saved of it, the daemon works on."""

from __future__ import annotations

import pytest
from daemon_tools import Start, all_told
from waiting import wait_for

from callout.daemon.remote import RemoteFace
from callout.daemon.socket_place import socket_path
from callout.journal.folder import SurveyFolder

ODD = (
    "83 " + "9" * 27,
    "83 0." + "1" * 27,
    "83 25.4\x00",
    "\x1b[2J83 25.4\x07",
    "\u202e83 25.4",
    "🌲 83 25.4",
    "x" * 10_000,
    "8" * 10_000,
    "83 0.0",
)


@pytest.fixture
def face(start: Start, fen: SurveyFolder):
    process = start("--plot", "K1")
    face = RemoteFace(socket_path(fen.path))
    all_told(face)
    yield face
    assert process.poll() is None, "the daemon has ended"
    face.close()


def test_odd_lines_save_nothing_and_the_next_is_taken(face: RemoteFace, fen: SurveyFolder) -> None:
    for line in ODD:
        face.submit("what's left", 0)
        wait_for(lambda: "left" in face.view().said)
        face.submit(line, 0)
        wait_for(lambda: face.view().tone == "refused")
        assert face.view().said.isprintable()
        assert face.view().waiting == 0
    face.submit("83 25.4", 0)
    wait_for(lambda: face.view().waiting > 0)
    face.press("confirm", face.view().waiting)
    wait_for(lambda: face.view().waiting == 0)
    with fen.reading() as reader:
        assert [f"{item.tag} {item.value}" for item in reader.readings()] == ["83 25.4"]
