"""A microphone that becomes another under its stream, over a real sound server (pulseaudio).

As a headset does that goes from its music profile to its telephone profile: the source is taken
away and made anew under the same name, at another rate (from memory of PulseAudio's manual).
"""

from __future__ import annotations

import itertools
import os
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

import in_english
import pytest
from sound_tools import LoopedServer
from waiting import wait_for

from callout.sound.frames import FRAME_S, Frame
from callout.sound.microphone import Microphone
from callout.sound.pulse import SourceWatch
from callout.sound.sound_devices import choose, watch_source
from callout.sound.speaker import Speaker
from callout.station.hearing import ears as ears_module
from callout.station.hearing.ears import CHANGED, Ears
from callout.station.hearing.listening import Listening
from callout.station.speaking.silent_echo import SilentEcho
from callout.station.upkeep.clock import Clock
from callout.station.upkeep.faults import Faults


class Taken:
    """In the place of whoever listens: keeps the frames."""

    def __init__(self) -> None:
        self.frames: list[Frame] = []

    def on_utterance(self, watch: object) -> None:
        """Nothing is made of them."""

    def on_asking(self, watch: object) -> None:
        """Nothing is asked."""

    def anchor(self, began: datetime) -> None:
        assert began < datetime.now(UTC)

    def take(self, frame: Frame) -> None:
        self.frames.append(frame)


class AtWork:
    """Ears on a microphone of the looped server, on a thread."""

    def __init__(self, name: str | None) -> None:
        self.taken, self.said, self.opened = Taken(), cast(list[str], []), cast(list[str], [])
        self.leaving = threading.Event()
        faults = Faults(
            lambda says: self.said.append(in_english.part(says)), lambda name, says: None
        )
        listening = cast(Listening, self.taken)
        self.ears = Ears(
            listening, SilentEcho(), faults, Clock(), lambda: Microphone(name, stalled_after_s=60.0)
        )
        self.ears.on_open(self.opened.append)
        self.thread = threading.Thread(target=self.ears.run, args=(self.leaving,), daemon=True)

    def __enter__(self) -> AtWork:
        self.thread.start()
        return self

    def __exit__(self, *failure: Any) -> None:
        self.leaving.set()
        self.thread.join(60)
        assert not self.thread.is_alive()

    def hears(self, more: int) -> None:
        """Until so many more frames have come."""
        wanted = len(self.taken.frames) + more
        wait_for(lambda: len(self.taken.frames) >= wanted)

    @property
    def gaps(self) -> int:
        starts = [frame.start_s for frame in self.taken.frames]
        return sum(b - a > FRAME_S * 1.5 for a, b in itertools.pairwise(starts))


def test_another_profile_and_another_default_are_followed_at_once_and_told_once(
    looped: LoopedServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    # That it is followed at once shows in no fault being told; a busy machine may take longer.
    monkeypatch.setattr(ears_module, "_CHANGE_S", 60.0)
    with AtWork(None) as work:
        work.hears(20)
        looped.sink("one", "TrialOne", 8000, 1)  # the server moves the stream to the other one
        wait_for(lambda: len(work.opened) == 2)
        work.hears(20)
        now = looped.pactl("get-default-source")
        other = {"one.monitor": "two.monitor", "two.monitor": "one.monitor"}[now]
        looped.pactl("set-default-source", other)
        wait_for(lambda: len(work.opened) == 3)
        work.hears(20)
    assert work.said == [in_english.part(CHANGED)], "once a minute at most"
    assert work.gaps >= 2, "nothing is joined across either"


def test_one_that_is_gone_for_good_is_a_fault_and_comes_back(
    looped: LoopedServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ears_module, "_CHANGE_S", 0.6)
    monkeypatch.setattr(ears_module, "RETRY_S", 0.3)
    with AtWork("TrialOne") as work:
        work.hears(5)
        looped.pactl("unload-module", "1")
        wait_for(lambda: bool(work.said))
        looped.sink("one", "TrialOne", 16_000, 1)
        work.hears(5)
    assert "No microphone is called 'TrialOne'" in work.said[0]
    assert work.said[1:] == ["the microphone works again"]


def test_what_is_seen_of_a_source(looped: LoopedServer) -> None:
    watch = watch_source(choose("microphone", "TrialOne"))
    assert watch is not None
    first = watch.source()
    assert first is not None
    assert (first.name, first.rate_hz, first.channels) == ("one.monitor", 16_000, 1)
    assert [watch.changed for _ in range(5)] == [False] * 5
    looped.sink("one", "TrialOne", 16_000, 1)
    assert watch.changed, "made anew alike: it is another all the same"
    looped.stop()
    wait_for(lambda: watch.source() is None)
    assert watch.changed
    watch.close()
    gone = SourceWatch(None)
    assert not gone.watches and not gone.changed
    gone.close()


def test_what_is_closed_leaves_no_files_open(looped: LoopedServer) -> None:
    def once() -> int:
        Microphone("TrialOne").close()
        Speaker("TrialOne").close()
        return len(list(Path("/proc/self/fd").iterdir()))

    if not Path("/proc/self/fd").is_dir():
        pytest.skip("no list of a process's open files here")
    counts = [once() for _ in range(4)]
    assert counts[-1] == counts[0], f"{counts}: of {os.getpid()}"
