"""What a daemon's clients see of what has failed in it. The survey is the demo's (invented)."""

from __future__ import annotations

from daemon_tools import Start
from waiting import wait_for

from callout.daemon.remote import RemoteFace
from callout.daemon.socket_place import socket_path
from callout.journal.folder import SurveyFolder


def test_a_voice_that_fails_is_shown_while_the_daemon_works_on(
    start: Start, fen: SurveyFolder
) -> None:
    text = fen.settings.read_text(encoding="utf-8")
    changed = text.replace('voice = "en"', 'voice = "zz-none"')
    changed = changed.replace('speaker = ""', 'speaker = "null"')
    # Whatever microphones this machine has, none is called so.
    changed = changed.replace('microphone = ""', 'microphone = "no microphone of this name"')
    assert changed.count("zz-none") == changed.count('"null"') == changed.count("of this name") == 1
    fen.settings.write_text(changed, encoding="utf-8")
    start("--plot", "K1")
    face = RemoteFace(socket_path(fen.path))
    try:
        face.submit("83 25.4", 0)
        wait_for(lambda: face.view().waiting > 0)
        wait_for(lambda: any("Beeps stand for it" in fault for fault in face.view().faults))
        [fault] = [one for one in face.view().faults if "Beeps" in one]
        assert "no voice called 'zz-none'" in fault
        assert any("microphone" in one.casefold() for one in face.view().faults)
        face.press("confirm", face.view().waiting)
        wait_for(lambda: face.view().waiting == 0)
        assert face.view().recent[0].told == "25.4"
    finally:
        face.close()
