"""What held in a plot from which day: in survey.toml, in the report, and from visit to visit."""

from __future__ import annotations

import csv
import math

import pytest
from stand_frames import undrawn
from station_tools import at_work, settle

from callout.cli.main import main
from callout.core.errors import OperatorError
from callout.journal.folder import SurveyFolder
from callout.reports.exchange.taken.taking import take
from callout.survey.config import read_config
from callout.survey.plot_history import plot_history, told_censuses

near = pytest.approx
HISTORY = """
[history.K1."1990-01-01"]
area_ha = "0.10"
rounding = "down"
treatment = "none yet"

[history.K1."2018-05-01"]
area_ha = "0.25"
rounding = "nearest"
treatment = "thinned"

[censuses]
"winter" = "2018-11-01 to 2019-02-28"
"""


def made(folder):
    """Six oaks of 30.0 cm in 2015, of 31.0 in a winter; invented."""
    rows = [
        f"K1,{tag},red oak,2015-06-0{tag},30.0,cm,{day},31.0,cm"
        for tag in range(1, 7)
        for day in ["2018-12-28" if tag < 3 else "2019-01-05"]
    ]
    roster = folder / "trees.csv"
    head = "plot,tag,species,date,value,unit,date2,value2,unit2"
    roster.write_text("\n".join([head, *rows]) + "\n")
    plot = "--plot=K1:area_ha=0.25,treatment=thinned"
    assert main(["new", str(folder / "fen"), "--trees", str(roster), plot]) == 0
    return folder / "fen"


@pytest.fixture
def survey(tmp_path):
    return made(tmp_path)


@pytest.fixture(scope="module")
def reported(tmp_path_factory):
    """A survey whose history is told, and its report."""
    folder = tmp_path_factory.mktemp("reported")
    survey = made(folder)
    tell(survey, HISTORY)
    assert main(["report", str(survey), "--out", str(folder / "out"), "--title", "T"]) == 0
    return survey, folder / "out"


def tell(survey, text):
    path = survey / "survey.toml"
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")


def table(folder, name):
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_report_goes_by_what_held_on_the_day(reported):
    _, out = reported
    first, second = table(out, "summary")

    def dense(size, hectares):
        return 6 * math.pi / 40_000 * size**2 / hectares

    assert float(first["basal_area_m2_ha"]) == near(dense(30.05, 0.10))  # rounded down: + 0.05
    assert float(second["basal_area_m2_ha"]) == near(dense(31.0, 0.25))
    assert [first["treatment"], second["treatment"]] == ["none yet", "thinned"]
    assert [row["label"] for row in table(out, "censuses")] == ["2015", "2018–2019"]


def called(path, text):
    with at_work(SurveyFolder(path)) as station:
        station.open("K1", "R.V.")
        station.type(text)
        settle(station)


def test_a_reading_keeps_how_it_was_read_when_the_settings_change(tmp_path):
    """No history is told: what was rounded down stays so, and lacks half a graduation; invented."""
    roster = tmp_path / "trees.csv"
    trees = [f"K1,{tag},beech,2015-06-01,30.0,cm" for tag in range(1, 7)]
    roster.write_text("\n".join(["plot,tag,species,date,value,unit", *trees]) + "\n")
    plot = "--plot=K1:area_ha=0.1,rounding=down,graduation=0.5"
    survey = tmp_path / "fen"
    assert main(["new", str(survey), "--trees", str(roster), plot]) == 0
    called(survey, "1 31.4")
    settings = survey / "survey.toml"
    text = settings.read_text(encoding="utf-8")
    for was, now in (('"down"', '"nearest"'), ('"0.5"', '"0.1"')):
        assert was in text
        text = text.replace(was, now)
    settings.write_text(text, encoding="utf-8")
    called(survey, "2 31.4")
    rows = take(survey).measurements
    rows = rows[rows["source"] == "callout"].set_index("tag")
    told = ["value", "rounding", "graduation"]
    assert [str(rows.loc["1", name]) for name in told] == ["31.0", "down", "0.5"]
    assert [str(rows.loc["2", name]) for name in told] == ["31.4", "nearest", "0.1"]
    assert main(["report", str(survey), "--out", str(tmp_path / "out")]) == 0
    grown = {row["tag"]: row for row in table(tmp_path / "out", "tree_growth")}
    # Rows of the roster tell nothing: they were read as the first that tells, rounded down.
    assert float(grown["1"]["from_cm"]) == near(30.25)
    assert float(grown["1"]["to_cm"]) == near(31.25)
    assert float(grown["2"]["to_cm"]) == near(31.4)


@pytest.mark.parametrize("form", ["", "datapackage", "parquet", "darwincore", "excel"])
def test_the_next_visit_and_every_form_know_the_history(survey, tmp_path, form):
    tell(survey, HISTORY)
    source = survey
    if form:
        source = tmp_path / {"darwincore": "a.zip", "excel": "a.xlsx"}.get(form, "a")
        assert main(["export", str(survey), "--form", form, "--out", str(source)]) == 0
    again = tmp_path / "next"
    assert main(["new", str(again), "--from", str(source)]) == 0
    one, other = take(survey), take(again)
    assert other.further["history"].astype(str).equals(one.further["history"].astype(str))
    named = [list(data.measurements["census_told"]) for data in (one, other)]
    assert sorted(named[0]) == sorted(named[1]) == [""] * 6 + ["winter"] * 6


def test_a_form_gives_the_report_that_its_survey_gives(reported, tmp_path):
    survey, out = reported
    assert main(["export", str(survey), "--form", "datapackage", "--out", str(tmp_path / "a")]) == 0
    with undrawn():
        words = ["--out", str(tmp_path / "other"), "--title", "T"]
        assert main(["report", str(tmp_path / "a"), *words]) == 0
    for name in ("summary", "carbon", "growth", "rates", "censuses"):
        assert table(out, name) == table(tmp_path / "other", name)


def test_every_plot_at_once(survey):
    tell(survey, '[history."*"."2001-01-01"]\nscale = "diameter"\ntape_offset = "-0.2"\n')
    (row,) = take(survey).further["history"].to_dict("records")
    assert (row["plot"], row["scale"], row["tape_offset"]) == ("K1", "diameter", "-0.2")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[history.K1."2018-05-01"]\narea_ha = "0.10"\n', "its settings tell 0.25"),
        ('[history.K9."2018-05-01"]\narea_ha = "0.10"\n', "no such plot"),
        ('[history.K1."May 2018"]\narea_ha = "0.25"\n', "is no day"),
        ('[history.K1."2018-05-01"]\nangle = "3"\n', "unknown 'angle'"),
        ('[history.K1."2018-05-01"]\narea_ha = 0.25\n', "in quotes"),
        ('[history.K1."2018-05-01"]\nrounding = "up"\n', "rounding"),
        ('[history.K1."2018-05-01"]\ntape_offset = "a lot"\n', "a lot"),
        ('[history.K1]\narea_ha = "0.25"\n', "write"),
        ('[censuses]\nwinter = "2019"\n', "write"),
        ('[censuses]\na = "2019-01-01 to 2019-03-01"\nb = "2019-02-01 to 2019-04-01"\n', "share"),
        ('[censuses]\na = "2019-03-01 to 2019-01-01"\n', "before"),
    ],
)
def test_what_cannot_be_used_is_refused(survey, text, says):
    tell(survey, text)
    config = read_config(survey / "survey.toml")
    with pytest.raises(OperatorError, match=says):
        plot_history(config, ["K1"])
        told_censuses(config)
