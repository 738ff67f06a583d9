"""``callout parse``: the JSON contract, within a survey and without."""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

import pytest

from callout.cli.field import parse_command as parse
from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.station.data import load_language

READ_ONCE = functools.cache(load_language)


@pytest.fixture(autouse=True)
def languages_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading the grammar takes half a second each time, and is tested elsewhere."""
    monkeypatch.setattr(parse, "load_language", READ_ONCE)


def parsed(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    assert main(["parse", *map(str, arguments)]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    assert out.out.count("\n") == 1
    told: dict[str, Any] = json.loads(out.out)
    says = ["says"] if told["problem"] else []
    assert list(told) == ["words", "meanings", "problem", *says]
    return told


@pytest.mark.parametrize(
    "words", ["tree eighty three, twenty four point six", "83 24.6", "TREE 83 24.6"]
)
def test_a_reading(words: str, capsys: pytest.CaptureFixture[str]) -> None:
    told = parsed(capsys, words)
    assert told["words"] == words
    assert told["problem"] is None
    (meaning,) = told["meanings"]
    assert meaning == {"kind": "reading", "tag": "83", "value": "24.6", "unit": None}


def test_values_are_text_with_their_zeros(capsys: pytest.CaptureFixture[str]) -> None:
    (meaning,) = parsed(capsys, "083 24.60 cm")["meanings"]
    assert (meaning["tag"], meaning["value"], meaning["unit"]) == ("083", "24.60", "cm")


def test_what_is_no_callout_is_a_problem_and_no_error(capsys: pytest.CaptureFixture[str]) -> None:
    for words in ("banana", "", "…", "confirm tree", "x" * 400, "83 -24.6", "83 24,6", "八十三"):
        told = parsed(capsys, words)
        assert told["meanings"] == []
        assert told["problem"]


def test_several_meanings_are_all_told(capsys: pytest.CaptureFixture[str]) -> None:
    told = parsed(capsys, "tree eighty three twenty")
    assert {(item["tag"], item["value"]) for item in told["meanings"]} == {
        ("83", "20"),
        ("8320", None),
    }
    assert "83" in told["problem"]
    assert "8320" in told["problem"]


def test_the_roster_decides_where_exactly_one_fits(
    capsys: pytest.CaptureFixture[str], fen: SurveyFolder
) -> None:
    told = parsed(capsys, "tree eighty three twenty", "--survey", fen.path)
    assert told["problem"] is None
    assert [(item["tag"], item["value"]) for item in told["meanings"]] == [("83", "20")]


def test_the_plot_is_the_first_unless_named(
    capsys: pytest.CaptureFixture[str], fen: SurveyFolder
) -> None:
    words = "tree two oh five twenty"
    assert parsed(capsys, words, "--survey", fen.path, "--plot", "K3")["problem"] is None
    assert main(["parse", words, "--survey", str(fen.path), "--plot", "K9"]) == 2
    assert "no plot 'K9'" in capsys.readouterr().err


def test_nothing_is_written(capsys: pytest.CaptureFixture[str], fen: SurveyFolder) -> None:
    def state() -> list[tuple[str, int]]:
        return sorted((str(path), path.stat().st_mtime_ns) for path in Path(fen.path).rglob("*"))

    before = state()
    parsed(capsys, "83 24.6", "--survey", fen.path)
    assert state() == before
