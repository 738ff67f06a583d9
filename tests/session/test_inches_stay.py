"""No value of an inch plot is ever said, shown, listed or exported as centimetres unasked.

Property tests: dialogues drawn at random in a plot kept in inches whose trees' history is in inches
or centimetres; whatever is told is looked through for the other unit, and for the other figures.
Factor: an inch is 2.54 cm (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from datetime import date
from decimal import Decimal
from pathlib import Path

import in_english
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from callout.cli.main import main
from callout.core.checking.checks import Rules
from callout.core.events import Heard, Opened, Save, Say
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, Plot, PlotSettings, Tree
from callout.core.units import Unit
from callout.session.machine import step
from callout.session.state import Memory, Survey

AT = "2026-06-02T09:15:00+02:00"
TAGS = ("83", "84", "91")
CENTIMETRES = re.compile(r"\bcm\b|centimet", re.IGNORECASE)

sizes = st.decimals("4.0", "39.9", places=1)
tags = st.sampled_from(TAGS)
callouts = st.one_of(
    st.builds(Meaning, st.just("reading"), tags, sizes),
    st.builds(Meaning, st.sampled_from(["size", "amend"]), value=sizes),
    st.builds(Meaning, st.just("status"), tags, status=st.sampled_from(["cut", "dead_standing"])),
    st.builds(Meaning, st.just("retag"), tags, new_tag=st.sampled_from(["312", "313"])),
    st.builds(Meaning, st.sampled_from(
        ["accept", "confirm", "reject", "undo", "repeat", "where", "left", "complete", "skip"]
    )),
)  # fmt: skip
histories = st.lists(
    st.builds(
        PastMeasurement, st.just(date(2021, 6, 2)), sizes,
        st.sampled_from([Unit.INCH, Unit.CENTIMETRE]),
    ),
    max_size=1,
).map(tuple)  # fmt: skip


def inch_plot(past: tuple[tuple[PastMeasurement, ...], ...], blind: bool) -> Survey:
    trees = {tag: Tree("K1", tag, "beech", own) for tag, own in zip(TAGS, past, strict=True)}
    made = PlotSettings("K1", unit=Unit.INCH, smallest=Decimal("0.4"), largest=Decimal(80))
    return Survey({"K1": Plot(made, trees)}, {"K1": Rules(blind=blind)})


@settings(max_examples=300, deadline=None)
@given(st.tuples(histories, histories, histories), st.lists(callouts, max_size=20), st.booleans())
def test_nothing_said_or_saved_is_in_centimetres(past, meanings, blind):
    about = inch_plot(past, blind)
    memory, effects = step(about, Memory(), Opened(1, AT, "K1", "R.V."))
    for number, meaning in enumerate(meanings, 2):
        memory, effects = step(about, memory, Heard(number, AT, "typed", "", (meaning,)))
        for effect in effects:
            if isinstance(effect, Say):
                _has_no_centimetres(in_english.told(effect))
            if isinstance(effect, Save):
                assert effect.reading.unit is Unit.INCH
                assert effect.reading.raw_unit in (None, Unit.INCH)
                assert effect.reading.value == effect.reading.raw, "not converted"


def _has_no_centimetres(text: str) -> None:
    # "That looks like centimetres" names what the measurer may have read, not a value.
    for looks in ("looks like", "looks converted from"):
        text = text.replace(f"that {looks} centimetres", "")
    plain = text
    assert not CENTIMETRES.search(plain), text


@settings(max_examples=100, deadline=None)
@given(sizes, histories)
def test_the_echo_calls_back_the_very_figures_and_never_those_of_the_other_unit(size, past):
    about = inch_plot((past, (), ()), blind=False)
    memory, _ = step(about, Memory(), Opened(1, AT, "K1", "R.V."))
    meaning = Meaning("reading", "83", size)
    _, effects = step(about, memory, Heard(2, AT, "typed", "", (meaning,)))
    (said,) = (in_english.told(effect) for effect in effects if isinstance(effect, Say))
    assert said.startswith(f"83, {size}")
    other = (size * Decimal("2.54")).quantize(Decimal("0.1"))
    assert str(other) not in re.findall(r"[0-9]+\.[0-9]+", said.removeprefix(f"83, {size}"))


@pytest.fixture(scope="module")
def survey_in_inches(tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("inches")
    roster = where / "trees.csv"
    roster.write_text(
        "plot,tag,species,date,value,unit\nK1,83,beech,2021-06-02,24.0,in\n"
        "K1,84,red oak,2021-06-02,55.9,cm\n",
        encoding="utf-8",
    )
    assert main(["new", str(where / "s"), "--trees", str(roster), "--unit", "in"]) == 0
    return where / "s"


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(sizes)
def test_what_a_screen_is_given_is_in_inches(survey_in_inches, size):
    from station_tools import at_work

    from callout.journal.folder import open_survey
    from callout.station.showing.presenter import StationFace

    with at_work(open_survey(survey_in_inches)) as station:
        station.open("K1", "R.V.")
        face = StationFace(station, lambda muted: None)
        for text in (f"83 {size}", "accept", f"84 {size}"):
            station.type(text)
            view = face.view()
            assert view.unit == "in"
            assert all(line.unit in ("in", "") for line in view.recent)
            for shown in (view.said, view.value, view.change, *view.warnings, *view.looks):
                _has_no_centimetres(shown)
        # What a roster told in centimetres is shown as it was told, with its unit.
        assert view.before == "55.9 cm, 2021-06-02"
        station.type("scratch that")
        face.close()


def test_lists_and_exports_are_in_inches(survey_in_inches, tmp_path, capsys):
    from station_tools import at_work

    from callout.journal.folder import open_survey

    with at_work(open_survey(survey_in_inches)) as station:
        station.open("K1", "R.V.")
        for text in ("83 24.6", "accept", "84 22.4", "accept"):
            station.type(text)
        assert station.memory.pending is None
    capsys.readouterr()
    assert main(["readings", str(survey_in_inches)]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert {(row["recorded"], row["unit"]) for row in rows} == {("24.6", "in"), ("22.4", "in")}
    assert main(["readings", str(survey_in_inches), "--format", "json"]) == 0
    assert {row["unit"] for row in json.loads(capsys.readouterr().out)} == {"in"}
    package = tmp_path / "package"
    assert (
        main(["export", str(survey_in_inches), "--form", "datapackage", "--out", str(package)]) == 0
    )
    table = next(package.rglob("measurements.csv")).read_text(encoding="utf-8")
    told = {(row["value"], row["unit"]) for row in csv.DictReader(io.StringIO(table))}
    assert {("24.6", "in"), ("22.4", "in"), ("24.0", "in"), ("55.9", "cm")} == told
    archive = tmp_path / "a.zip"
    assert (
        main(["export", str(survey_in_inches), "--form", "darwincore", "--out", str(archive)]) == 0
    )
    with zipfile.ZipFile(archive) as parts:
        text = "".join(
            parts.read(name).decode()
            for name in parts.namelist()
            if name.endswith((".txt", ".csv"))
        )
    assert "24.6" in text
    assert "62.48" not in text and "62.5" not in text, "24.6 in as centimetres"
