"""From survey to open form to the next survey and on: nothing is lost on the way.

Every form is written, a new survey is begun from it, and what that one holds is compared cell by
cell. ``CALLOUT_HOSTILE_IMPORTS`` sets how many hostile tables go through the command (default 60).
All data are invented.
"""

from __future__ import annotations

import os
import random
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_frames import frame, measurement, plots
from station_tools import at_work, settle
from test_exchange import ABOUT, TEXTS, WORDS, same
from test_import import hostile

from callout.cli.main import main
from callout.core.checking.checks import last_height_m, last_status
from callout.core.model import PlotSettings
from callout.core.rounding import Rounding
from callout.core.units import Unit
from callout.crews.place import read_place
from callout.grammar.words import is_tag
from callout.journal.earlier import KIND, earlier_body
from callout.journal.folder import SurveyFolder, make_survey
from callout.reports.exchange.darwincore import write_archive
from callout.reports.exchange.datapackage import write_package
from callout.reports.exchange.dataset import Dataset
from callout.reports.exchange.excel import write_workbook
from callout.reports.exchange.parquet import write_parquet
from callout.reports.exchange.taken.next_visit import all_rows, next_settings, next_trees
from callout.reports.exchange.taken.taking import take
from callout.reports.survey_frames import survey_frames, trees_of
from callout.survey.config import measuring_from

HOSTILE = int(os.environ.get("CALLOUT_HOSTILE_IMPORTS", "60"))
AT = "2027-06-01T09:00:00.000+02:00"
BASE = measuring_from("", {"unit": "cm"}, PlotSettings(plot=""))
FORMS = {"datapackage": "p", "darwincore": "a.zip", "parquet": "q", "excel": "a.xlsx"}
EVERY_FORM = pytest.mark.parametrize("form", FORMS)
NAMES = st.one_of(WORDS, TEXTS).filter(lambda name: name.strip() == name)


def written(folder: Path, form: str, stems, places) -> Path:
    path, data = folder / FORMS[form], Dataset(stems, places)
    if form == "datapackage":
        write_package(path, data, ABOUT)
    else:
        writer = {"darwincore": write_archive, "parquet": write_parquet, "excel": write_workbook}
        writer[form](path, data, ABOUT)
    return path


def begun(path: Path, source: Path) -> SurveyFolder:
    """A survey begun from ``source``, as the command does it."""
    taken = take(source)
    trees, _ = next_trees(taken, with_gone=True)
    entries = [(KIND, earlier_body(*all_rows(taken)))]
    return make_survey(path, trees, BASE, next_settings(taken, BASE), AT, None, entries)


def sorted_rows(stems: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    plain = stems[columns].astype({name: object for name in columns if name != "date"})
    return plain.reset_index(drop=True)


# A survey holds what can be typed at the tree, and sizes that a tree can have.
TAGS = st.from_regex(r"[A-Z0-9][A-Z0-9-]{0,4}", fullmatch=True).filter(is_tag)
SIZES = st.decimals("0.01", "750", places=3).map(str)
ROWS = st.lists(
    st.builds(
        measurement,
        TAGS,
        st.datetimes(pd.Timestamp(1950, 1, 1), pd.Timestamp(2100, 1, 1)).map(
            lambda moment: moment.replace(microsecond=0)
        ),
        st.one_of(st.none(), SIZES),
        st.sampled_from(["in", "cm"]),
        plot=st.sampled_from(["K1", "-K2", "=K3"]),
        species=st.one_of(st.just(""), TEXTS),
        stem=st.sampled_from(["", "1", "2"]),
        status=st.sampled_from(["live", "dead standing", "dead down", "cut", "not found"]),
        measured_height_m=st.sampled_from([1.3, 1.37, 2.05]),
        who=st.one_of(st.just(""), TEXTS),
        remarks=TEXTS,
    ),
    min_size=1,
    max_size=6,
)


@EVERY_FORM
@settings(max_examples=10, deadline=None)
@given(
    rows=ROWS,
    area=st.decimals("0.0001", 9, places=6).map(float),
    treatment=st.one_of(st.just(""), NAMES),
)
def test_survey_to_form_to_survey_and_on(form, rows, area, treatment, tmp_path_factory):
    """Begun from a form, exported in it again, begun again: every row and cell, twice."""
    folder = tmp_path_factory.mktemp("trip")
    stems = frame(*rows)
    names = dict.fromkeys(stems["plot"])
    places = plots(*((name, area, "cm", treatment) for name in names))
    source = written(folder, form, stems, places)
    for number in (1, 2):
        survey = begun(folder / f"survey{number}", source)
        got, got_places = survey_frames(survey.path)
        exact = form != "excel"  # a sheet's floats have some 16 digits
        columns = list(stems.columns)
        same(sorted_rows(stems, columns), sorted_rows(got, columns), exact)
        pd.testing.assert_frame_equal(
            places.sort_values("plot", ignore_index=True),
            got_places.sort_values("plot", ignore_index=True)[list(places.columns)],
            check_dtype=False, check_exact=exact, rtol=1e-14,
        )  # fmt: skip
        (folder / f"again{number}").mkdir()
        source = written(folder / f"again{number}", form, got, got_places)


def worked(path: Path) -> SurveyFolder:
    """A survey with a past, two stems, a dead tree, a height moved, and trees not reached."""
    roster = path.with_suffix(".csv")
    roster.write_text(
        "plot,tag,species,date,value,unit,crown\n"
        "-K1,83,red oak,2021-07-08,25.0,in,sound\n-K1,88,=beech,2021-07-08,8.60,in,\n"
        "-K1,91,beech,2021-07-08,12.9,in,thin\n-K1,92,beech,,,,broken top\nK2,101,white pine,,,,\n"
    )
    plot = "--plot=-K1:unit=in,breast_height=1.37,rounding=down,area_ha=0.1,treatment=thinned"
    assert main(["new", str(path), "--trees", str(roster), plot]) == 0
    with at_work(SurveyFolder(path)) as station:
        station.open("-K1", "R.V.")
        for texts in (
            ("83 25.40",),
            ("91 dead standing",),
            ("88 8.9", "measured at one point six metres"),
        ):
            for text in texts:
                station.type(text)
            settle(station)
        assert not station.memory.pending
    return SurveyFolder(path)


@EVERY_FORM
def test_the_commands_from_one_visit_to_the_next(form, tmp_path, capsys):
    """Every row, plot and tree comes again, measured or not."""
    survey = worked(tmp_path / "first")
    out, again = tmp_path / FORMS[form], tmp_path / "again"
    assert main(["export", str(survey.path), "--form", form, "--out", str(out)]) == 0
    assert main(["new", str(again), "--from", str(out)]) == 0
    assert "measurements are kept with it" in capsys.readouterr().out
    stems, places = survey_frames(survey.path)
    got, got_places = survey_frames(again)
    columns = list(stems.columns)
    same(sorted_rows(stems, columns), sorted_rows(got, columns))
    pd.testing.assert_frame_equal(places, got_places, check_dtype=False)
    tags = [tree.tag for plot in read_place(again).plots.values() for tree in plot.trees.values()]
    assert sorted(tags) == ["101", "83", "88", "91", "92"]
    first, then = (trees_of(read_place(path)) for path in (survey.path, again))
    pd.testing.assert_frame_equal(first, then[first.columns])


def test_the_next_visit_knows_how_each_tree_stood(tmp_path, capsys):
    """The checks' columns, from this year's survey itself."""
    survey, again = worked(tmp_path / "first"), tmp_path / "again"
    assert main(["new", str(again), "--from", str(survey.path)]) == 0
    plot = read_place(again).plots["-K1"]
    oak, beech, dead = plot.trees["83"], plot.trees["88"], plot.trees["91"]
    assert [str(item.value) for item in oak.past] == ["25.0", "25.4"]
    assert last_height_m(beech) == Decimal("1.6")
    assert last_height_m(oak) is None
    assert last_status(dead) == "dead standing"
    assert oak.extra["crown"] == "sound" and beech.species == "=beech"
    settings = plot.settings
    assert (settings.unit, settings.rounding) == (Unit.INCH, Rounding.DOWN)
    assert (settings.breast_height_m, settings.area_ha) == (Decimal("1.37"), Decimal("0.1"))
    assert settings.treatment == "thinned"


def test_trees_that_are_gone_leave_the_roster_and_stay_in_the_data(tmp_path, capsys):
    rows = frame(
        measurement(1, "2021-07-01", "20.0"), measurement(2, "2021-07-01", "30.0"),
        measurement(2, "2026-07-01", None, status="cut"),
    )  # fmt: skip
    source = written(tmp_path, "datapackage", rows, plots(("K2", 0.1, "cm", "")))
    assert main(["new", str(tmp_path / "a"), "--from", str(source)]) == 0
    assert "1 tree that was cut or down" in capsys.readouterr().out
    assert list(read_place(tmp_path / "a").plots["K2"].trees) == ["1"]
    assert len(survey_frames(tmp_path / "a")[0]) == 3
    assert main(["new", str(tmp_path / "b"), "--from", str(source), "--with-gone"]) == 0
    assert list(read_place(tmp_path / "b").plots["K2"].trees) == ["1", "2"]


def test_an_imported_table_begins_a_survey(tmp_path, capsys):
    table = tmp_path / "t.csv"
    table.write_text("plot,tag,species,date,dbh cm\nK2,1,Quercus rubra,2024-06-30,25.40\n")
    words = ["import", str(table), "--out", str(tmp_path / "out"), "--yes"]
    assert main(words) == 0
    assert main(["new", str(tmp_path / "s"), "--from", str(tmp_path / "out")]) == 0
    (tree,) = read_place(tmp_path / "s").plots["K2"].trees.values()
    assert (tree.species, str(tree.last.value)) == ("Quercus rubra", "25.40")


def test_a_united_site_begins_the_next_visit(tmp_path, capsys):
    survey = worked(tmp_path / "first")
    site, again = tmp_path / "site", tmp_path / "again"
    assert main(["merge", str(survey.path), "--into", str(site)]) == 0
    assert main(["new", str(again), "--from", str(site)]) == 0
    stems, _ = survey_frames(site)
    got, _ = survey_frames(again)
    same(sorted_rows(stems, list(stems.columns)), sorted_rows(got, list(stems.columns)))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--from", "nothing"], "none of the forms"),
        (["--from", "{table}"], "none of the forms"),
        (["--trees", "{table}", "--with-gone"], "goes with --from"),
        (["--from", "{package}", "--plot", "K9:unit=in"], "no such plot"),
    ],
)
def test_what_cannot_begin_a_survey(words, says, tmp_path, capsys):
    table = tmp_path / "t.csv"
    table.write_text("plot,tag,species\nK2,1,beech\n")
    rows = frame(measurement(1, "2021-07-01", "20.0"))
    package = written(tmp_path, "datapackage", rows, plots(("K2", 0.1, "cm", "")))
    given_words = [word.format(table=table, package=package) for word in words]
    assert main(["new", str(tmp_path / "s"), *given_words]) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "s").exists()


def test_hostile_tables_through_the_command(tmp_path, capsys):
    """Taken, taken in part, or refused in words; what was taken begins a survey or is refused."""
    chance = random.Random(11)
    codes = dict.fromkeys((0, 1, 2), 0)
    for number in range(HOSTILE):
        table, out = tmp_path / f"t{number}.csv", tmp_path / f"out{number}"
        table.write_bytes(hostile(chance))
        main(["import", str(table), "--out", str(out), "--yes"])  # proposes a mapping
        mapping = table.with_suffix(".mapping.toml")
        if mapping.exists():
            text = mapping.read_text().replace('unit = "?"', 'unit = "cm"')
            text = text.replace('date = ""', 'date = "2024-07-01"').replace('"?"', '"live"')
            text = text.replace('year_day = ""', 'year_day = "07-01"')
            mapping.write_text(text.replace('date_order = "live"', 'date_order = "d-m-y"'))
        codes[main(["import", str(table), "--out", str(out), "--yes"])] += 1
        if (out / "datapackage.json").exists():
            assert main(["new", str(tmp_path / f"s{number}"), "--from", str(out)]) in (0, 2)
    told = "".join(capsys.readouterr())
    assert "Traceback" not in told
    if HOSTILE > 60:
        with capsys.disabled():
            print(f"{HOSTILE} hostile tables; exit codes {codes}")
    assert codes[1] > 0 and codes[2] > 0  # the tables hold bad rows before anything strews more
