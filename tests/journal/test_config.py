"""``survey.toml``: what is written is read back equal; every mistake is named with its key."""

from __future__ import annotations

import tomllib
from pathlib import Path

import in_english
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journal_tools import plot_settings

from callout.core.errors import OperatorError
from callout.core.model import PlotSettings
from callout.core.told import about_told
from callout.core.units import Unit
from callout.survey.config import Listening, Speaking, measuring_from, read_config
from callout.survey.new_settings import new_settings


def config_of(tmp_path: Path, text: str):  # type: ignore[no-untyped-def]
    path = tmp_path / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return read_config(path)


names = st.text(st.characters(codec="utf-8"), min_size=1, max_size=12)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.data(), names, plot_settings(), st.lists(names, max_size=3, unique=True))
def test_written_settings_are_read_back_equal(
    tmp_path: Path, data: st.DataObject, name: str, measuring: PlotSettings, plots: list[str]
) -> None:
    differing = {plot: data.draw(plot_settings(plot)) for plot in plots}
    config = config_of(tmp_path, new_settings(name, measuring, differing))
    assert config.name == name
    assert config.measuring == measuring
    assert dict(config.plots) == differing
    assert config.listening == Listening()
    assert config.speaking == Speaking()
    assert config.of("elsewhere").unit is measuring.unit


def test_sizes_are_text_in_the_file_and_every_line_is_explained() -> None:
    text = new_settings("harrow", PlotSettings(plot=""), {})
    told = tomllib.loads(text)
    assert told["measuring"]["graduation"] == "0.1"
    assert not [value for value in told["measuring"].values() if isinstance(value, float)]
    lines = text.partition("[measuring]")[2].partition("[listening]")[0].splitlines()
    assert all("#" in line for line in lines if "=" in line)


def test_a_plot_may_differ_and_takes_the_sizes_of_its_unit(tmp_path: Path) -> None:
    config = config_of(tmp_path, '[measuring]\nunit = "cm"\n[plots.K1]\nunit = "in"\n')
    assert (config.of("K1").unit, config.of("K2").unit) == (Unit.INCH, Unit.CENTIMETRE)
    assert config.of("K1").largest < config.of("K2").largest
    assert config.of("K2").plot == "K2"


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[measuring]\ngraduation = 0.1\n", ["graduation", "0.1", "in quotes"]),
        ('[measuring]\ngraduation = "0"\n', ["graduation", "'0'"]),
        ('[measuring]\ngraduation = "-0.1"\n', ["graduation", "'-0.1'"]),
        ('[measuring]\ngraduation = "fine"\n', ["graduation", "'fine'"]),
        ("[measuring]\ngraduation = true\n", ["graduation", "True"]),
        ('[measuring]\nunit = "furlong"\n', ["unit", "'furlong'"]),
        ("[measuring]\nunit = 3\n", ["unit", "'3'"]),
        ('[measuring]\nrounding = "up"\n', ["rounding", "'up'"]),
        ('[measuring]\nscale = "radius"\n', ["scale", "'radius'"]),
        ('[measuring]\nbreast_height = "chest"\n', ["breast_height", "'chest'"]),
        ('[measuring]\nbreast_height = "4.5"\n', ["breast_height", "out of reach", "4.5 ft"]),
        ('[measuring]\nimplied_point = "yes"\n', ["implied_point", "'yes'"]),
        ('[measuring]\nlargest = "2000"\n', ["largest 2000 cm", "wider than any tree"]),
        ('[measuring]\nsmallest = "5"\nlargest = "4"\n', ["smallest 5", "largest 4"]),
        ('[measuring]\nlargest = "inf"\n', ["largest", "'inf'"]),
        ('[measuring]\ngradation = "0.1"\n', ["gradation"]),
        ('[plots.K1]\nunit = "furlong"\n', ["K1", "unit", "'furlong'"]),
        ('[plots.K1]\nunits = "in"\n', ["K1", "'units'"]),
        ('measuring = "in"\n', ["measuring", "'in'"]),
        ("plots = 3\n", ["plots", "3"]),
        ('[plots]\nK1 = "in"\n', ["K1", "'in'"]),
        ('survey = "harrow"\n', ["survey", "'harrow'"]),
        ("[survey]\nname = 3\n", ["name", "3"]),
        ('[survey]\nlang = "en"\n', ["survey", "'lang'"]),
        ("listening = 5\n", ["listening", "5"]),
        ("[listening]\nengine = 1\n", ["engine", "1"]),
        ('[listening]\nhang_over_s = "long"\n', ["hang_over_s", "'long'"]),
        ("[listening]\nhang_over_s = nan\n", ["hang_over_s", "nan"]),
        ("[listening]\nreminder_s = -1.0\n", ["reminder_s", "-1.0"]),
        ("[listening]\nreminder_s = true\n", ["reminder_s", "True"]),
        ('[listening]\nmike = "x"\n', ["listening", "'mike'"]),
        ('[speaking]\nmuted = "no"\n', ["muted", "'no'"]),
        ("[speaking]\nmuted = 0\n", ["muted", "0"]),
        ("[speaking]\nwords_a_minute = 1.5\n", ["words_a_minute", "1.5"]),
        ("[speaking]\nwords_a_minute = 0\n", ["words_a_minute", "0"]),
        ('[mesuring]\nunit = "in"\n', ["mesuring", "'measuring'"]),
        ('[Measuring]\nunit = "in"\n', ["Measuring", "'measuring'"]),
        ("[measuring\n", ["is not TOML"]),
    ],
)
def test_every_bad_key_or_value_is_named(tmp_path: Path, text: str, named: list[str]) -> None:
    with pytest.raises(OperatorError) as refused:
        config_of(tmp_path, text)
    told = str(refused.value)
    assert "survey.toml" in told
    for part in named:
        assert part in told, told


def test_a_file_that_is_not_utf8_is_refused_plainly(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    path.write_bytes('name = "Harrow é"\n'.encode("latin-1"))
    with pytest.raises(OperatorError, match="is not UTF-8"):
        read_config(path)


def test_sections_for_other_parts_are_left_alone(tmp_path: Path) -> None:
    config = config_of(tmp_path, '[[device]]\nname = "tape"\n')
    assert config.other == {"device": [{"name": "tape"}]}


def test_a_float_is_refused_on_the_command_line_path_too() -> None:
    with pytest.raises(OperatorError, match=r"graduation: 0\.1 must be in quotes"):
        measuring_from("K1", {"graduation": 0.1}, PlotSettings(plot=""))


@pytest.mark.parametrize(
    ("line", "named"),
    [
        ('shape = "hexagon"', "hexagon"), ('established = "12 May"', "12 May"),
        ("established = 1203", "1203"), ('established = "2999-01-01"', "2999-01-01"),
        ('established = "1968-13-01"', "1968-13-01"), ('paint_line = "yes"', "true or false"),
        ('site = "two\\nlines"', "one line"), ("site = 4", "4"), ('area_ha = "0"', "above zero"),
    ],
)  # fmt: skip
def test_what_a_plot_cannot_be_is_refused_by_its_name(tmp_path, line, named):
    with pytest.raises(OperatorError, match=named) as refused:
        config_of(tmp_path, f"[plots.K1]\n{line}\n")
    assert f"[plots.K1] {line.split()[0]}" in str(refused.value)


def test_what_a_plot_is_stands_over_what_the_survey_is(tmp_path):
    config = config_of(
        tmp_path,
        '[measuring]\nsite = "Harrow Fen"\nestablished = 1968\n'
        '[plots.K1]\ntreatment = "control"\narea_ha = "0.10"\nshape = "circle"\npaint_line = true\n'
        "[plots.K2]\nestablished = 1972-05-01\npaint_line = false\n",
    )
    about = "Harrow Fen, control, 0.1 ha circle, since 1968, paint line"
    assert in_english.part(about_told(config.of("K1"))) == about
    assert (
        in_english.part(about_told(config.of("K2")))
        == "Harrow Fen, since 1972-05-01, no paint line"
    )
    assert in_english.part(about_told(config.of("K3"))) == "Harrow Fen, since 1968"
