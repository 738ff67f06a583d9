"""The question to somebody who works alone: asked, repeated and shown, answered by a word."""

from __future__ import annotations

import in_english
from journal_tools import survey
from station_tools import LANGUAGE, ScriptedEngine
from waiting import wait_for

from callout.core.events import Say
from callout.core.saying import Saying
from callout.sound.sound_files import encode_flac
from callout.station import post as posts
from callout.station.post import Post, Told, Work
from callout.station.speaking.check_in import AGAIN_S, ASK, CheckIn
from callout.station.station import Station
from callout.station.upkeep.clock import Clock


def test_off_it_never_asks():
    one = CheckIn(0.0, 0.0)
    assert all(one.due(now) is None for now in range(0, 100_000, 600))
    assert one.unanswered is None


def test_asked_repeated_and_quiet_once_answered():
    one = CheckIn(1800.0, 100.0)
    assert one.due(1899.0) is None and one.unanswered is None
    assert one.due(1900.0) == ASK
    assert one.due(1900.0 + AGAIN_S - 1) is None
    assert "asked once" in in_english.part(one.unanswered)
    assert one.due(1900.0 + AGAIN_S) == ASK
    assert "asked 2 times; nobody is called" in in_english.part(one.unanswered)
    one.answered(2000.0)
    assert one.unanswered is None
    assert one.due(3799.0) is None and one.due(3800.0) == ASK


def test_at_work_it_is_said_shown_and_taken_back_by_the_word(tmp_path, monkeypatch):
    monkeypatch.setattr(posts, "CHECK_S", 0.02)
    folder = survey(tmp_path / "harrow")
    text = folder.settings.read_text(encoding="utf-8")
    assert "check_in_s = 0.0" in text, "off by default"
    folder.settings.write_text(text.replace("check_in_s = 0.0", "check_in_s = 0.05"))
    clock = Clock()
    station = Station(folder, LANGUAGE, ScriptedEngine(), encode_flac, clock.now)
    said: list[str] = []
    shown: list[tuple[str, str | None]] = []

    def show(name: str, says: Saying | None) -> None:
        shown.append((name, in_english.part(says) or None))

    station.watch(
        lambda done: said.extend(
            in_english.told(item) for item in done.effects if isinstance(item, Say)
        )
    )
    post = Post(folder, station, clock, Work("K1", "R.V.", iter(()), silent=True))
    try:
        post.begin(Told(fault=show))
        wait_for(lambda: any(name == "check-in" for name, _ in shown))
        wait_for(lambda: any(words.startswith("Are you well?") for words in said))
        assert "nobody is called" in str(dict(shown)["check-in"])
        station.type("i am standing")
        wait_for(lambda: ("check-in", None) in shown)
        assert any("all well at" in words for words in said)
    finally:
        post.close()
        station.close()
