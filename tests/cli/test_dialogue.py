"""The dialogue through ``callout listen --headless --typed``: what slipped through once.

Trees and sizes are invented (the demo's survey). A girth of 90.0 is a diameter of 28.6 (over pi;
worked out by hand).
"""

from __future__ import annotations

import io
import json
from datetime import datetime
from pathlib import Path

import pytest
import tomlkit

from callout.cli.main import main
from callout.journal.folder import SurveyFolder
from callout.practice.demo import make_demo_survey


@pytest.fixture
def folder(tmp_path: Path) -> SurveyFolder:
    return make_demo_survey(tmp_path / "fen", datetime.now().astimezone())


def typed(
    folder: SurveyFolder, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    *lines: str, plot: str = "K2",
) -> tuple[list[str], list[dict]]:  # fmt: skip
    """What was said to each line, and what was saved."""
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))
    capsys.readouterr()
    command = ["listen", str(folder.path), "--headless", "--typed", "--plot", plot, "--who", "R.V."]
    assert main(command) == 0
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    first = next(at for at, line in enumerate(told) if line["event"] == "heard")
    said = [line["text"] for line in told[first:] if line["event"] == "said"]
    return said, [line for line in told if line["event"] in ("saved", "undone", "noted")]


@pytest.fixture
def type_in(folder, capsys, monkeypatch):
    return lambda *lines, plot="K2": typed(folder, capsys, monkeypatch, *lines, plot=plot)


def test_girth_that_was_said_is_a_girth(type_in) -> None:
    said, saved = type_in("new tree 80 girth 90", "yes", "accept")
    assert said[0].startswith("New tree 80, girth 90.0, diameter 28.6")
    assert "you said girth" in said[0]
    assert said[1].startswith("Not saved yet")
    assert [(row["raw"], row["recorded"]) for row in saved] == [("90", "28.6")]


def test_a_girth_plot_honours_a_diameter_and_calls_back_the_number_first(folder, type_in) -> None:
    settings = tomlkit.parse(folder.settings.read_text(encoding="utf-8"))
    settings["plots"]["K3"] = {"scale": "girth"}
    folder.settings.write_text(tomlkit.dumps(settings), encoding="utf-8")
    said, saved = type_in("205 diameter 28.6", "accept", "201 60", "yes", plot="K3")
    assert said[0].startswith("205, 28.6, ")
    assert any(text.startswith("201, girth 60.0, diameter 19.1") for text in said)
    assert [row["recorded"] for row in saved] == ["28.6", "19.1"]


def test_a_correction_after_a_refused_callout_finds_no_tree(type_in) -> None:
    said, saved = type_in("107 23.9", "yes", "tree 43", "correction 28.3", "yes")
    assert "28.3: which tree?" in said
    assert said[-1] == "Nothing waits for confirmation."
    assert len(saved) == 1


def test_what_is_saved_is_changed_by_accept_alone_both_values_told(type_in) -> None:
    said, saved = type_in("107 23.9", "yes", "correction 24.3", "yes", "accept")
    assert any(text.startswith("107 again: 24.3 instead of 23.9") for text in said)
    assert [row["recorded"] for row in saved] == ["23.9", "24.3"]


def test_undo_is_echoed_and_accepted(type_in) -> None:
    said, saved = type_in("107 23.9", "yes", "undo", "yes", "accept")
    assert "Undo 107, 23.9: nothing of it stands then. Accept?" in said
    assert [row["event"] for row in saved] == ["saved", "undone"]


def test_a_stem_dies_by_its_number_and_no_other_is_made_beside_it(type_in) -> None:
    said, saved = type_in(
        "101 stem 1 20.4", "yes", "101 stem 2 12.5", "yes", "tree 101 dead standing", "yes",
        "tree 101 stem two dead standing", "accept",
    )  # fmt: skip
    assert "Tree 101 has stems 1 and 2 saved: say which stem." in said
    assert [(row["stem"], row["status"]) for row in saved] == [
        ("1", "live"), ("2", "live"), ("2", "dead_standing"),
    ]  # fmt: skip


def test_too_many_figures_are_told_as_such(type_in) -> None:
    said, saved = type_in("83 123456789012345678901234567", "tree 83 24.61234567890123", "83 24.6")
    assert said[0] == "No tree has a number of 27 figures: call it again."
    assert said[1] == "No tree has a number of 16 figures: call it again."
    assert said[2].startswith("83, 24.6")
    assert saved == []


@pytest.mark.parametrize("size", ["123456789012345678901234567", "0.0", "0.04", "9999"])
def test_no_tree_has_such_a_size(type_in, size: str) -> None:
    said, saved = type_in(f"107 {size}", "yes", "accept")
    assert saved == []
    assert "call it again" in said[0]


def test_the_whole_echo_is_told_again_after_a_question(type_in) -> None:
    said, _ = type_in("new tree 80 beech 6.8", "what's left", "where was i")
    whole = said[0]
    assert whole.startswith("New tree 80, beech, 6.8")
    again = f"Still waiting: n{whole[1:]}"  # within a sentence
    assert all(text.endswith(again) for text in said[1:])


def test_heights_are_in_metres_or_feet_and_within_reach(type_in) -> None:
    said, saved = type_in(
        "107 23.9", "measured at 4.5 metres", "measured at 4.5 feet", "accept", plot="K2"
    )
    assert any("out of reach" in text and "or was it feet" in text for text in said)
    assert any("measured at 4.5 feet, 1.37 metres" in text for text in said)
    assert len(saved) == 1


def test_a_note_names_its_tree_before_it_is_kept(type_in) -> None:
    said, kept = type_in("tree 107", "note", "bark loose, fork at 2 m", "yes")
    assert "Note about tree 107: speak or type it now." in said
    assert "Note about tree 107: bark loose, fork at 2 m. Confirm?" in said
    assert [(row["event"], row["tag"]) for row in kept] == [("noted", "107")]


def test_a_tag_with_a_hyphen_is_typed(type_in) -> None:
    said, saved = type_in("new tree A-12 18.4", "accept", "A-12 dead standing", "accept")
    assert [(row["tag"], row["status"]) for row in saved] == [
        ("A-12", "live"), ("A-12", "dead_standing"),
    ]  # fmt: skip
    assert said[0].startswith("New tree A-12, ")


def test_a_typed_note_is_in_the_readings_the_review_page_and_the_replay(
    folder, type_in, capsys, tmp_path
) -> None:
    type_in("107 23.9", "yes", "107 note", "bark < loose", "yes", "101 note", "gone?", "yes")
    capsys.readouterr()
    assert main(["readings", str(folder.path), "--format", "json"]) == 0
    told = capsys.readouterr()
    (row,) = json.loads(told.out)
    assert (row["tag"], row["notes"]) == ("107", ["bark < loose"])
    assert told.err == "note about tree 101 of plot K2: gone?\n", "no row has it"
    assert main(["readings", str(folder.path)]) == 0
    assert capsys.readouterr().out.splitlines()[1].endswith(",bark < loose")
    page = tmp_path / "page.html"
    assert main(["review", str(folder.path), "--out", str(page)]) == 0
    assert "<small>Note: bark &lt; loose</small>" in page.read_text(encoding="utf-8")
    capsys.readouterr()
    assert main(["replay", str(folder.path), "--tree", "107"]) == 0
    assert "bark < loose" in capsys.readouterr().out
