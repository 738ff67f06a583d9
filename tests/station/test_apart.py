"""The recogniser's own process: killed, stopped or hung, it is started anew and hears the same.

The sound is the walk's first callout (invented, a synthetic voice); what must be heard is what the
same engine hears within this process.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import in_english
import pytest
from journal_tools import survey
from station_tools import BEGAN, LANGUAGE, at_work, said, told_by
from waiting import wait_for

from callout.cli.main import main
from callout.core.errors import DeviceError, OperatorError
from callout.core.saying import Saying
from callout.grammar.automaton import Automaton
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey
from callout.sound.frames import SAMPLE_RATE_HZ, Samples
from callout.sound.sound_files import encode_flac, read_sound
from callout.speech.engine import Candidate
from callout.speech.sphinx import SphinxEngine
from callout.station.data import data_folder
from callout.station.hearing import apart, apart_process
from callout.station.hearing.apart import ApartEngine, EngineOrder
from callout.station.hearing.apart_process import EngineProcess
from callout.station.hearing.engines import second_engine
from callout.station.scopes import scope_of
from callout.station.station import Station

SOUND: Samples = read_sound(data_folder("audio_fixtures") / "walk.flac")[: 4 * SAMPLE_RATE_HZ]


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Automaton:
    folder = survey(tmp_path_factory.mktemp("apart") / "harrow")
    with folder.reading() as reader:
        return LANGUAGE.spoken_in(scope_of(reader.plots()["K1"], ["61"]))


@pytest.fixture(scope="module")
def expected(spoken: Automaton) -> tuple[Candidate, ...]:
    engine = SphinxEngine(LANGUAGE.pronunciations)
    engine.prepare(spoken)
    heard = engine.hear(SOUND)
    assert heard[0].words.startswith("tree sixty one eighteen")
    return heard


@pytest.fixture
def told() -> list[Saying | None]:
    return []


@pytest.fixture
def engine(spoken: Automaton, told: list[Saying | None]) -> Iterator[ApartEngine]:
    made = ApartEngine(EngineOrder("pocketsphinx", LANGUAGE), told.append)
    made.prepare(spoken)
    yield made
    made.close()


def gone(pid: int) -> bool:
    """Ended, whether or not somebody has asked how."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def test_it_hears_what_the_same_engine_hears_here(
    engine: ApartEngine, expected: tuple[Candidate, ...], told: list[Saying | None]
) -> None:
    assert engine.hear(SOUND) == expected
    assert (engine.name, told, engine.restarts) == ("pocketsphinx", [], 0)


def test_killed_before_and_during_an_utterance_it_hears_that_one_again(
    engine: ApartEngine, expected: tuple[Candidate, ...], told: list[Saying | None]
) -> None:
    first = engine.pid
    assert first is not None
    os.kill(first, signal.SIGKILL)
    assert engine.hear(SOUND) == expected
    second = engine.pid
    assert second is not None and second != first
    # Stopped, so that it is still at this utterance when it is killed.
    os.kill(second, signal.SIGSTOP)
    for number, kills in enumerate((signal.SIGSEGV, signal.SIGCONT)):
        threading.Timer(0.1 + 0.05 * number, os.kill, (second, kills)).start()
    assert engine.hear(SOUND) == expected
    assert engine.restarts == 2
    again = "the recogniser stopped and was started again"
    assert [in_english.part(one) for one in told] == [again, "", again, ""]
    assert told[1] is None and told[3] is None


def test_a_hang_is_killed_and_the_utterance_heard_again(
    engine: ApartEngine,
    expected: tuple[Candidate, ...],
    told: list[Saying | None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(apart_process, "HANG_S", 1.0)
    monkeypatch.setattr(apart_process, "HANG_FOR_EACH_S", 0.0)
    hung = engine.pid
    assert hung is not None
    os.kill(hung, signal.SIGSTOP)
    start = EngineProcess.start

    def started(process: EngineProcess, order: EngineOrder) -> dict[str, object]:
        # The next one is no hang, however slow the machine.
        monkeypatch.setattr(apart_process, "HANG_S", 60.0)
        return start(process, order)

    monkeypatch.setattr(EngineProcess, "start", started)
    # More than a pipe holds: it must not be waited for without end either.
    assert engine.hear(SOUND) == expected
    assert gone(hung)
    assert [in_english.part(one) for one in told] == [
        "the recogniser hung and was started again", "",
    ]  # fmt: skip
    assert told[-1] is None


def test_what_kills_every_time_is_given_up_and_the_next_is_heard(
    engine: ApartEngine,
    expected: tuple[Candidate, ...],
    told: list[Saying | None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(apart, "_PAUSE_S", 0.0)
    hear = EngineProcess.hear

    def killed(process: EngineProcess, samples: Samples) -> tuple[Candidate, ...]:
        assert process.pid is not None
        os.kill(process.pid, signal.SIGKILL)
        return hear(process, samples)

    with monkeypatch.context() as patched:
        patched.setattr(EngineProcess, "hear", killed)
        with pytest.raises(DeviceError) as failed:
            engine.hear(SOUND)
    assert "did so again" in in_english.part(failed.value)
    assert engine.restarts == apart.MOST_TRIES - 1
    assert len(told) == 1, "told once"
    assert engine.hear(SOUND) == expected
    assert told[-1] is None


def killed_at_first(patch: pytest.MonkeyPatch, kills: int) -> list[int]:
    """The next so many utterances kill the process that hears them; counts them."""
    hear, count = EngineProcess.hear, [0]

    def killed(process: EngineProcess, samples: Samples) -> tuple[Candidate, ...]:
        count[0] += 1
        if count[0] <= kills:
            assert process.pid is not None
            os.kill(process.pid, signal.SIGKILL)
        return hear(process, samples)

    patch.setattr(EngineProcess, "hear", killed)
    return count


def test_five_crashes_in_a_row_and_the_second_engine_hears_told_once(
    engine: ApartEngine,
    expected: tuple[Candidate, ...],
    told: list[Saying | None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(apart, "_PAUSE_S", 0.0)
    engine._second = "pocketsphinx"  # the other one takes seconds to start
    killed_at_first(monkeypatch, apart.MOST_CRASHES)
    with pytest.raises(DeviceError):
        engine.hear(SOUND)
    assert engine.hear(SOUND) == expected, "two more crashes, and then the second one"
    assert engine.hear(SOUND) == expected
    shown = [in_english.part(one) for one in told]
    assert len(shown) == 2, shown
    assert "crashed five times in a row: pocketsphinx hears now" in shown[1]


def test_which_engine_is_the_second() -> None:
    assert second_engine("closed", LANGUAGE) == second_engine("auto", LANGUAGE) == "pocketsphinx"
    assert second_engine("pocketsphinx", LANGUAGE) in ("closed", None)
    assert second_engine("vosk", replace(LANGUAGE, code="ko")) is None


def test_what_nobody_can_say_again_is_tried_more_often(
    engine: ApartEngine, expected: tuple[Candidate, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    engine.patient = True
    killed_at_first(monkeypatch, apart.MOST_CRASHES - 1)
    assert engine.hear(SOUND) == expected


def test_no_callout_of_a_recording_is_lost_to_crashes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Read faster than it was spoken, nobody can say it again: each callout is heard again."""
    monkeypatch.setattr(apart, "second_engine", lambda name, language: "pocketsphinx")
    folder, recording = make_demo_survey(tmp_path / "fen", BEGAN), tmp_path / "walk.flac"
    recording.write_bytes(encode_flac(SOUND))
    killed_at_first(monkeypatch, apart.MOST_CRASHES)
    assert main(["listen", str(folder.path), "--headless", "--audio", str(recording),
                 "--engine", "pocketsphinx", "--who", "R.V."]) == 0  # fmt: skip
    told = capsys.readouterr().out
    spoken = [line for line in told.splitlines() if '"said"' in line]
    assert sum("crashed five times in a row" in line for line in spoken) == 1
    with folder.reading() as reader:
        heard = [entry.content["words"] for entry in reader.of_kind("heard")]
    assert any(words.startswith("tree sixty one eighteen") for words in heard), told


def test_an_engine_that_cannot_be_had_is_refused_as_ever() -> None:
    with pytest.raises(OperatorError, match="unknown engine"):
        ApartEngine(EngineOrder("none", LANGUAGE))
    with pytest.raises(OperatorError, match="no Vosk model"):
        ApartEngine(EngineOrder("vosk", LANGUAGE, "/nowhere/at/all"))


def test_it_ends_with_its_parent_even_when_that_is_killed() -> None:
    program = (
        "import time; from station_tools import LANGUAGE;"
        "from callout.station.hearing.apart import ApartEngine, EngineOrder;"
        "print(ApartEngine(EngineOrder('pocketsphinx', LANGUAGE)).pid, flush=True);"
        "time.sleep(60)"
    )
    tests = Path(__file__).parent
    path = os.pathsep.join(map(str, (tests, tests.parent / "wording", tests.parents[1])))
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path},
    ) as parent:  # fmt: skip
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert not gone(child)
        parent.kill()
    wait_for(lambda: gone(child))


class Deaf:
    """An engine that does not work; it lets go of the test when it is asked."""

    name, model = "deaf", "none"

    def prepare(self, spoken: Automaton) -> None:
        """Nothing to do."""

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        raise DeviceError("the recogniser does not work")


def test_a_station_whose_recogniser_fails_says_so_and_takes_what_is_typed(tmp_path: Path) -> None:
    folder: SurveyFolder = survey(tmp_path / "harrow")
    with at_work(folder, Deaf()) as station:  # type: ignore[arg-type]
        done = told_by(station)
        station.open("K1", "R.V.")
        station.hear(SOUND)
        assert said(done)[-1] == "Not heard: the recogniser does not work."
        station.type("83 25.1")
        station.press("confirm")
        assert station.memory.saved[("K1", "83", "")].value is not None


class Slow(Deaf):
    """Decodes until it is told to end."""

    def __init__(self) -> None:
        self.decoding, self.end = threading.Event(), threading.Event()

    def hear(self, samples: Samples) -> tuple[Candidate, ...]:
        self.decoding.set()
        assert self.end.wait(60)
        return (Candidate("confirm", (), 0.9),)


def test_while_a_sound_is_decoded_keys_go_on(tmp_path: Path) -> None:
    engine = Slow()
    station = Station(survey(tmp_path / "harrow"), LANGUAGE, engine, encode_flac, lambda: BEGAN)
    station.open("K1", "R.V.")
    hearing = threading.Thread(target=station.hear, args=(SOUND,))
    hearing.start()
    assert engine.decoding.wait(60)
    station.type("83 25.1")  # would wait for ever, were the station held
    station.press("confirm")
    assert ("K1", "83", "") in station.memory.saved
    engine.end.set()
    hearing.join(60)
    station.close()
