"""The sound of whole sessions: kept bit for bit, found again after a kill, within its budget.

Sound is invented noise, or the demo's walk. ``CALLOUT_SOUND_KILLS`` sets how many kills (default
8).
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

import in_english
import numpy as np
import pytest
from journal_tools import survey
from station_tools import BEGAN, ScriptedEngine, at_work, clock

from callout.core.events import Say
from callout.journal.folder import SurveyFolder
from callout.journal.reader import Entry
from callout.journal.session_sound import KIND, SPOOL
from callout.journal.writer import JournalWriter
from callout.proof.verify import take_snapshot, verify_journal
from callout.sound.coarser import coarser, pcm_within
from callout.sound.endpoint import Endpointer
from callout.sound.frames import FRAME_SAMPLES, SAMPLE_RATE_HZ, Frame, Samples, frames_of
from callout.sound.sound_files import decode_flac, encode_flac
from callout.station.hearing.keeping import session_sound
from callout.station.hearing.listening import Listening
from callout.station.hearing.talking import TalkKey
from callout.station.station import Station
from callout.station.upkeep.tidy import tidy
from callout.survey.config import Keeping

KILLS = int(os.environ.get("CALLOUT_SOUND_KILLS", "8"))
KEEPING = Keeping(whole_session=True, segment_s=2, mb_an_hour=1000)


def noise(seconds: float, size: int = 300, mark: int = 83) -> Samples:
    count = round(seconds * SAMPLE_RATE_HZ / FRAME_SAMPLES) * FRAME_SAMPLES
    return np.random.default_rng(mark).integers(-size, size, count).astype(np.int16)


def listening(
    folder: SurveyFolder, station: Station, talk: TalkKey | None = None, keeping: Keeping = KEEPING
) -> Listening:
    keep = session_sound(folder, station, keeping)
    assert keep is not None
    return Listening(station, Endpointer(), BEGAN, 20.0, keep=keep, talk=talk)


def segments(folder: SurveyFolder) -> list[Entry]:
    with folder.reading() as reader:
        return reader.of_kind(KIND)


def sound_of(folder: SurveyFolder, entries: list[Entry]) -> Samples:
    return np.concatenate(
        [decode_flac(folder.audio.read(entry.content["audio"])) for entry in entries]
    )


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return survey(tmp_path / "harrow")


def test_every_sample_is_kept_with_its_time(folder: SurveyFolder) -> None:
    samples = noise(7.5)
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        listening(folder, station).run(frames_of(samples))
    found = segments(folder)
    assert [Decimal(entry.content["seconds"]) for entry in found] == [
        Decimal("2.010"), Decimal("2.010"), Decimal("2.010"), Decimal("1.470"),
    ]  # fmt: skip
    assert np.array_equal(sound_of(folder, found), samples)
    began = [datetime.fromisoformat(entry.content["began"]) for entry in found]
    assert began == [BEGAN + timedelta(seconds=2.01 * n) for n in range(4)]
    assert {(entry.content["who"], entry.content["plot"]) for entry in found} == {("R.V.", "K1")}
    assert not list((folder.path / "audio").glob(f"{SPOOL}*"))
    report = verify_journal(folder, take_snapshot(folder.database))
    assert (report.faults, report.notes, report.sounds) == ([], [], 4)


def test_verify_tells_a_segment_that_is_missing_or_altered(folder: SurveyFolder) -> None:
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        listening(folder, station).run(frames_of(noise(5)))
    first, second, _ = segments(folder)
    folder.audio.path(first.content["audio"]).unlink()
    path = folder.audio.path(second.content["audio"])
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    faults = verify_journal(folder, take_snapshot(folder.database)).faults
    assert [(fault.entry, fault.what.split(":")[0]) for fault in faults] == [
        (first.seq, "its sound is missing"),
        (second.seq, "its sound was altered"),
    ]


def test_lost_sound_and_a_clock_that_is_set_begin_a_segment(folder: SurveyFolder) -> None:
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        ears = listening(folder, station, keeping=replace(KEEPING, segment_s=60))
        frames = list(frames_of(noise(3)))
        for frame in frames[:30]:
            ears.take(frame)
        for frame in frames[40:60]:  # ten frames, 0.3 s, were lost
            ears.take(frame)
        ears.anchor(BEGAN + timedelta(hours=1))
        for frame in frames[60:]:
            ears.take(frame)
        ears.finish()
    began = [datetime.fromisoformat(entry.content["began"]) - BEGAN for entry in segments(folder)]
    assert began == [timedelta(), timedelta(seconds=1.2), timedelta(hours=1, seconds=1.8)]
    kept = sound_of(folder, segments(folder))
    assert np.array_equal(kept, np.concatenate([f.samples for f in frames[:30] + frames[40:]]))


def test_our_own_echo_is_marked(folder: SurveyFolder) -> None:
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        endpointer = Endpointer()
        ears = Listening(
            station, endpointer, BEGAN, 20.0, keep=session_sound(folder, station, KEEPING)
        )
        endpointer.mute(1.0, 0.6)
        ears.run(frames_of(noise(2)))
    ((start, end),) = segments(folder)[0].content["echo"]
    tail_s = endpointer.settings.echo_tail_s
    assert abs(float(start) - 0.6) < 0.04 and abs(float(end) - (1.0 + tail_s)) < 0.04


# ---- a kill at any moment ----

# Forks a worker for each survey that is named to it; what is written is the worker's id, the frames
# it took, and how it ended.
WORKERS = textwrap.dedent("""
    import os, sys, time
    from pathlib import Path
    from test_session_sound import KEEPING, listening, noise
    from station_tools import BEGAN, ScriptedEngine, at_work, clock
    from callout.journal.folder import SurveyFolder
    from callout.sound.frames import frames_of

    def work(folder):
        with at_work(folder, ScriptedEngine(), clock()) as station:
            station.open("K1", "R.V.", BEGAN)
            ears = listening(folder, station)
            print(-1, flush=True)
            for number, frame in enumerate(frames_of(sound)):
                ears.take(frame)
                print(number, flush=True)
                time.sleep(0.001)
            time.sleep(600)  # until it is killed

    sound = noise(60)
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            print("worker", os.getpid(), flush=True)
            try:
                work(SurveyFolder(Path(line.rstrip("\\n"))))
            finally:
                os._exit(1)  # one that ends by itself has failed
        print("ended", os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)
""")


@contextmanager
def workers() -> Iterator[subprocess.Popen[str]]:
    """The process that forks them: it loads the program once."""
    here = Path(__file__).parent
    rooms = (here, here.parent / "journal", here.parent / "wording", here.parents[1])
    paths = os.pathsep.join(map(str, rooms))
    with subprocess.Popen(
        [sys.executable, "-c", WORKERS],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": paths},
    ) as launcher:
        yield launcher
        assert launcher.stdin is not None
        launcher.stdin.close()
        assert launcher.wait() == 0


def killed_at(
    launcher: subprocess.Popen[str], folder: SurveyFolder, frames: int, seconds: float
) -> int:
    """Have a worker made, kill it so long after it took that many frames; the last it had taken."""
    assert launcher.stdin is not None
    assert launcher.stdout is not None
    launcher.stdin.write(f"{folder.path}\n")
    launcher.stdin.flush()
    told, pid = launcher.stdout.readline().split()
    assert told == "worker"
    last = -1
    while last < frames:
        last = int(launcher.stdout.readline())
    time.sleep(seconds)
    os.kill(int(pid), signal.SIGKILL)
    while (line := launcher.stdout.readline().split())[0] != "ended":
        last = int(line[0])
    assert int(line[1]) == -signal.SIGKILL
    return last


def test_a_kill_costs_less_than_a_second_and_raises_no_alarm(tmp_path: Path) -> None:
    chance, samples = random.Random(83), noise(60)
    folders = [survey(tmp_path / f"harrow{run}") for run in range(KILLS)]
    last_taken = []
    with workers() as launcher:
        for folder in folders:
            settings = folder.settings.read_text(encoding="utf-8")
            settings = settings.replace("mb_an_hour = 40", "mb_an_hour = 1000")
            folder.settings.write_text(settings, encoding="utf-8")
            frames, seconds = chance.randint(0, 220), chance.uniform(0, 0.05)
            last_taken.append(killed_at(launcher, folder, frames, seconds))
    for folder, last in zip(folders, last_taken, strict=True):
        assert verify_journal(folder, take_snapshot(folder.database)).faults == []
        writer = JournalWriter(folder.database)
        for _ in range(2):  # the second finds nothing to do
            tidy(folder, partial(writer.append, BEGAN.isoformat()), pcm_within)
        writer.close()
        found = segments(folder)
        assert sum(entry.content["recovered"] for entry in found) <= 1
        kept = sound_of(folder, found) if found else samples[:0]
        assert len(kept) >= (last + 1) * FRAME_SAMPLES, "what was taken is there to the last frame"
        assert np.array_equal(kept, samples[: len(kept)]), "and in its order, nothing twice"
        report = verify_journal(folder, take_snapshot(folder.database))
        lying = [note for note in report.notes if "under way" in note.what]
        assert (report.faults, lying) == ([], [])


def test_a_crash_between_the_entry_and_the_spool_keeps_it_once(
    folder: SurveyFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        ears = listening(folder, station)
        with monkeypatch.context() as patch:
            patch.setattr(
                Path,
                "unlink",
                lambda self, missing_ok=False: (_ for _ in ()).throw(OSError(5, "no")),
            )
            ears.run(frames_of(noise(1)))
        assert len(list((folder.path / "audio").glob(f"{SPOOL}*"))) == 1
        tidy(folder, station.record, pcm_within)
    assert len(segments(folder)) == 1
    assert not list((folder.path / "audio").glob(f"{SPOOL}*"))


def test_a_full_disk_is_told_once_and_hearing_goes_on(
    folder: SurveyFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        station.watch(
            lambda done: said.extend(in_english.told(e) for e in done.effects if isinstance(e, Say))
        )
        ears = listening(folder, station)
        real = os.write
        full = {"yes": True}

        def write(handle: int, data: bytes) -> int:
            if full["yes"]:
                raise OSError(28, "No space left on device")
            return real(handle, data)

        monkeypatch.setattr("callout.journal.session_sound.os.write", write)
        frames = list(frames_of(noise(12)))
        for frame in frames[:150]:
            ears.take(frame)
        told = [text for text in said if "not kept now" in text]
        assert len(told) == 1 and "No space left" in told[0] and "free space" in told[0]
        full["yes"] = False
        for frame in frames[150:]:
            ears.take(frame)
        ears.finish()
    assert segments(folder), "it is tried again"
    assert verify_journal(folder, take_snapshot(folder.database)).faults == []


# ---- the budget ----


@pytest.mark.parametrize("size", [3, 300, 30_000])
def test_any_noise_fits_its_budget(size: int) -> None:
    """40 MB an hour is 11,111 bytes a second; noise cannot be packed."""
    samples = noise(60, size)
    most = 40_000_000 * 60 // 3600
    flac, bits = pcm_within(samples.astype("<i2").tobytes(), most)
    loud = size > 300
    assert len(flac) <= most + 9_000 or bits == 8
    assert (bits > 0) == loud or size == 300
    difference = decode_flac(flac).astype(int) - samples
    assert abs(difference).max() <= 2**bits, "only the least bits went"


def test_coarser_rounds_to_the_nearest_step() -> None:
    samples = np.array([-32768, -5, -4, 0, 3, 4, 5, 32767], dtype=np.int16)
    assert coarser(samples, 3).tolist() == [-32768, -8, 0, 0, 0, 8, 8, 32760]


# ---- push to talk ----


def burst(seconds: float) -> Samples:
    """A buzz of 140 Hz with overtones, which the detector takes for speech (from memory)."""
    t = np.arange(round(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    wave = sum(np.sin(2 * np.pi * 140 * n * t) / n for n in range(1, 20))
    return (wave * 4000 * (0.6 + 0.4 * np.sin(2 * np.pi * 4 * t))).astype(np.int16)


def test_the_microphone_is_open_for_one_callout_after_a_press(folder: SurveyFolder) -> None:
    quiet = noise(1.5, 5)
    stream = np.concatenate([quiet, burst(1), quiet])
    told: list[bool] = []
    talk = TalkKey(told.append)
    engine = ScriptedEngine(next_words="tree eighty three twenty four point six")
    with at_work(folder, engine, clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        ears = listening(folder, station, talk, replace(KEEPING, segment_s=60))

        def hear(at: float) -> float:
            for frame in frames_of(stream, at):
                ears.take(frame)
            return frame.end_s

        at = hear(0.0)
        assert station.memory.pending is None, "closed: not heard"
        assert not list((folder.path / "audio").iterdir()), "and not kept"
        talk.press()
        at = hear(at)
        assert station.memory.pending is not None, "open: heard"
        assert (talk.is_open, told) == (False, [True, False]), "closed after one callout"
        before = len(list((folder.path / "audio").iterdir()))
        hear(at)
        assert len(list((folder.path / "audio").iterdir())) == before
    (segment,) = segments(folder)
    assert float(segment.content["seconds"]) < 4.0
    assert verify_journal(folder, take_snapshot(folder.database)).faults == []


def test_an_open_microphone_closes_when_nothing_is_said_and_at_a_second_press(
    folder: SurveyFolder,
) -> None:
    talk = TalkKey()
    with at_work(folder, ScriptedEngine(), clock()) as station:
        station.open("K1", "R.V.", BEGAN)
        ears = listening(folder, station, talk)
        talk.press()
        for frame in frames_of(noise(25, 5)):
            ears.take(frame)
        assert not talk.is_open
        talk.press()
        talk.press()
        ears.take(Frame(noise(0.03, 5), 25.02))
        assert not talk.is_open
    kept_s = sum(float(entry.content["seconds"]) for entry in segments(folder))
    assert 19.9 < kept_s < 20.2, json.dumps([e.content for e in segments(folder)])


def test_flac_here_is_flac_there() -> None:
    """An utterance is never made coarser: the store's own encoder keeps every bit."""
    samples = noise(3, 30_000)
    assert np.array_equal(decode_flac(encode_flac(samples)), samples)
