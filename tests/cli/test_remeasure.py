"""A quality check from the command line: drawn, walked blind by a second person, reported."""

from __future__ import annotations

import csv
import json
import math
import shutil
from decimal import Decimal
from pathlib import Path

import pytest
from command_tools import called as callout

TREES = 60


@pytest.fixture(scope="module")
def walked_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A survey of an inch plot and a centimetre plot, every tree measured; invented sizes."""
    tmp_path = tmp_path_factory.mktemp("walked")
    lines = ["plot,tag,species,date,value"]
    for at in range(1, TREES + 1):
        plot, size = ("K1", 8 + at * 0.3) if at <= 30 else ("K2", 15 + at * 0.5)
        lines.append(f"{plot},{at},beech,2021-06-02,{size:.1f}")
    roster = tmp_path / "roster.csv"
    roster.write_text("\n".join(lines) + "\n", encoding="utf-8")
    survey = tmp_path / "harrow-fen"
    assert callout("new", survey, "--trees", roster, "--plot", "K1:unit=in").code == 0
    walk(survey, "K1", "R.V.", {str(at): first_size(at) for at in range(1, 31)})
    walk(survey, "K2", "R.V.", {str(at): first_size(at) for at in range(31, TREES + 1)})
    return survey


@pytest.fixture
def walked(walked_once: Path, tmp_path: Path) -> Path:
    """A copy of that survey, to draw from."""
    return Path(shutil.copytree(walked_once, tmp_path / walked_once.name))


def first_size(at: int) -> Decimal:
    grown = Decimal("8.3") + at * Decimal("0.3") if at <= 30 else Decimal(16) + at * Decimal("0.5")
    return grown.quantize(Decimal("0.1"))


def second_size(at: int) -> Decimal:
    """A tenth more than the first, every tenth tree a whole unit more."""
    return first_size(at) + (Decimal(1) if at % 10 == 0 else Decimal("0.1"))


def walk(survey: Path, plot: str, who: str, sizes: dict[str, Decimal]) -> list[dict]:
    typed = "".join(f"{tag} {size}\nconfirm\n" for tag, size in sizes.items())
    done = callout(
        "listen", survey, "--plot", plot, "--who", who, "--headless", "--typed", stdin=typed
    )
    assert done.code == 0, done.err
    return [json.loads(line) for line in done.out.splitlines()]


def drawn_trees(out: str) -> dict[str, list[str]]:
    lines = [line.strip() for line in out.splitlines() if line.startswith("  plot ")]
    parts = [line.removeprefix("plot ").split(": ") for line in lines]
    return {plot: tags.split(", ") for plot, tags in parts}


def table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def again(survey: Path) -> Path:
    return survey.with_name("harrow-fen-again")


def test_the_same_number_draws_the_same_trees_and_both_journals_keep_it(walked, tmp_path):
    one = callout("remeasure", walked, "--share", "10%", "--number", "7")
    other = callout(
        "remeasure", walked, "--share", "10%", "--number", "7", "--into", tmp_path / "b"
    )
    third = callout(
        "remeasure", walked, "--share", "10%", "--number", "8", "--into", tmp_path / "c"
    )
    trees = drawn_trees(one.out)
    assert trees == drawn_trees(other.out) != drawn_trees(third.out)
    assert {plot: len(tags) for plot, tags in trees.items()} == {"K1": 3, "K2": 3}
    assert callout("verify", walked).code == callout("verify", again(walked)).code == 0
    assert "blind = true" in (again(walked) / "survey.toml").read_text(encoding="utf-8")


def test_the_second_person_sees_and_hears_nothing_of_the_first(walked):
    trees = drawn_trees(callout("remeasure", walked, "--share", "10%", "--number", "7").out)
    tag = trees["K1"][0]
    told = walk(again(walked), "K1", "M.O.", {tag: second_size(int(tag)) + 9})
    before = [line for line in told if line["event"] == "said"]
    first_save = next(at for at, line in enumerate(told) if line["event"] == "saved")
    questions = [line["text"] for line in told[:first_save] if line["event"] == "said"]
    assert questions[-1].startswith(f"{tag}, {second_size(int(tag)) + 9}")
    assert "up" not in questions[-1] and "down" not in questions[-1]
    assert not any(str(first_size(int(tag))) in line["text"] for line in before)


def test_the_report_has_the_figures_by_hand(walked, tmp_path):
    trees = drawn_trees(callout("remeasure", walked, "--share", "50%", "--number", "3").out)
    for plot, tags in trees.items():
        walk(again(walked), plot, "M.O.", {tag: second_size(int(tag)) for tag in tags})
    out = tmp_path / "quality"
    done = callout("remeasure", walked, "--report", out)
    assert done.code == 0, done.err
    assert "pairs (in)" in done.out and "pairs (cm)" in done.out
    rows = table(out / "agreement.csv")
    for unit, plot in (("in", "K1"), ("cm", "K2")):
        gaps = [second_size(int(tag)) - first_size(int(tag)) for tag in trees[plot]]
        row = next(item for item in rows if (item["unit"], item["by"]) == (unit, "all"))
        assert int(row["n"]) == len(gaps) == 15
        assert float(row["bias"]) == pytest.approx(float(sum(gaps)) / 15)
        tem = math.sqrt(sum(float(gap) ** 2 for gap in gaps) / 30)
        assert float(row["tem"]) == pytest.approx(tem)
        assert int(row["within"]) == sum(gap < 1 for gap in gaps)
    assert {item["group"] for item in rows if item["by"] == "measurers"} == {"R.V., then M.O."}
    page = (out / "index.html").read_text(encoding="utf-8")
    assert "NOT met" in page and page.count("<img ") == 4
    assert len(table(out / "pairs.csv")) == 30


def test_the_report_of_the_stand_takes_the_error_from_it(walked, tmp_path):
    trees = drawn_trees(callout("remeasure", walked, "--share", "50%", "--number", "3").out)
    for plot, tags in trees.items():
        walk(again(walked), plot, "M.O.", {tag: second_size(int(tag)) for tag in tags})
    done = callout("report", walked, "--out", tmp_path / "report", "--draws", "100")
    assert done.code == 0, done.err
    assert "note: 30 pairs of harrow-fen-again go into the error of measurement" in done.out
    page = (tmp_path / "report" / "index.html").read_text(encoding="utf-8")
    assert "30 stems measured again in this survey" in page


def test_what_cannot_be_drawn_or_reported_is_refused_whole(walked, tmp_path):
    assert callout("remeasure", walked, "--share", "0%").code == 2
    assert callout("remeasure", walked, "--share", "120%").code == 2
    assert callout("remeasure", walked, "--plot", "K9").code == 2
    assert not again(walked).exists()
    nothing = callout("remeasure", walked, "--report", tmp_path / "out")
    assert nothing.code == 2 and "harrow-fen-again" in nothing.err
    assert callout("remeasure", walked).code == 0
    early = callout("remeasure", walked, "--report", tmp_path / "out")
    assert early.code == 2 and "walk them first" in early.err
    assert callout("remeasure", walked).code == 2  # a second draw needs a place of its own
    alien = callout("remeasure", walked, "--into", walked, "--report", tmp_path / "out")
    assert alien.code == 2 and "was not drawn" in alien.err


def test_a_status_or_another_height_is_no_pair(walked, tmp_path):
    trees = drawn_trees(callout("remeasure", walked, "--share", "10%", "--number", "7").out)
    one, two, three = trees["K1"]
    typed = f"{one} missing\nconfirm\n{two} 20\nmeasured at one point six metres\nconfirm\n"
    typed += f"{three} {second_size(int(three))}\nconfirm\n"
    callout(
        "listen", again(walked), "--plot", "K1", "--who", "R.V.", "--headless", "--typed",
        stdin=typed,
    )  # fmt: skip
    done = callout("remeasure", walked, "--report", tmp_path / "out")
    assert f"K1 {one}: measured, then missing" in done.out
    assert f"K1 {two}: measured at 1.30 m, then at 1.6 m" in done.out
    assert "1 pairs (in)" in done.out
    assert "1 pairs are of one person twice" in done.out
    assert "3 drawn trees are not walked yet" in done.out
