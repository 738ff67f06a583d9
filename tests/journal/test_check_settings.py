"""The ``[checks]`` table: what may be set, what is refused, and that it comes back exactly."""

from __future__ import annotations

import json
import tomllib
from decimal import Decimal

import pytest

from callout.core.checking.checks import FirstLimits, Limits, Rules
from callout.core.errors import OperatorError
from callout.core.model import Plot, PlotSettings, Tree
from callout.core.species import Species
from callout.journal.codec import settings_body, settings_from
from callout.survey.check_settings import rules_body, rules_from, rules_in, rules_of, with_rules

PLOTS = {
    "K1": Plot(PlotSettings("K1"), {"83": Tree("K1", "83", "Beech")}),
    "K2": Plot(PlotSettings("K2"), {"1": Tree("K2", "1", "QURU"), "2": Tree("K2", "2", "")}),
}
TABLE = (
    Species("Fagus grandifolia", "beech", "FAGR", largest_cm=Decimal(90)),
    Species("Quercus rubra", "red oak", "QURU", largest_cm=Decimal(120)),
    Species("Pseudotsuga menziesii", "Douglas-fir", "PSME"),
)


def rules(toml: str) -> dict[str, Rules]:
    return rules_from(tomllib.loads(toml).get("checks", {}), PLOTS, TABLE)


def test_nothing_set():
    found = rules("")
    assert found["K1"] == Rules(largest_cm={"beech": Decimal(90)})
    assert found["K2"].largest_cm == {"quru": Decimal(120)}
    assert found["K1"].walk
    assert not found["K1"].blind


def test_a_plot_differs():
    found = rules(
        '[checks]\nshrink_sd = "2.5"\ngrowth_mm_a_year = 60\n'
        '[checks.plots.K2]\nblind = true\nshrink_sd = "3"\n'
    )
    assert found["K1"].limits == Limits(shrink_sd=Decimal("2.5"), growth_mm_a_year=Decimal(60))
    assert found["K2"].limits == Limits(shrink_sd=Decimal(3), growth_mm_a_year=Decimal(60))
    assert (found["K1"].blind, found["K2"].blind) == (False, True)


@pytest.mark.parametrize(
    ("toml", "told"),
    [
        ("[checks]\nshrink_sd = 2.5", "in quotes"),
        ("[checks]\nshrink_sd = true", "in quotes"),
        ('[checks]\nshrink_sd = "two"', "not a number"),
        ('[checks]\nshrink_sd = "0"', "above zero"),
        ('[checks]\nshrink_sd = "5"', "above reject_sd 4"),
        ('[checks]\nshrunk = "2"', "unknown setting 'shrunk'"),
        ('[checks]\nblind = "yes"', "true or false"),
        ('[checks]\nhighest_m = "0.1"', "lowest_m 0.1 must be below highest_m 0.1"),
        ("checks = 1", "must be a section"),
        ("[checks]\nplots = 1", "must be a section"),
        ("[checks.plots]\nK2 = 1", "must be a section"),
        ("[checks.plots.K9]\nblind = true", "no such plot"),
    ],
)
def test_refused(toml, told):
    with pytest.raises(OperatorError, match=told):
        rules(toml)


def test_the_journal_gives_back_what_it_was_given():
    found = rules('[checks]\ngrowth_varies = "0.3300"\n[checks.plots.K1]\nwalk = false\n')
    measured = settings_body({name: plot.settings for name, plot in PLOTS.items()})
    body = json.loads(json.dumps(with_rules(measured, found)))
    back = rules_in(body)
    assert back == found
    assert str(back["K2"].limits.growth_varies) == "0.3300"
    assert settings_from(body) == {name: plot.settings for name, plot in PLOTS.items()}
    assert rules_in(measured) == {}


def test_limits_from_before_growth_was_learnt_are_those_of_the_checks_of_that_time():
    """What was set then is kept, what was not is as it was by default."""
    body = rules_body({"K1": Rules()})
    assert rules_of(body)["K1"].first is None
    body["K1"]["limits"] = {"shrink_sd": "2.5", "ratio_tolerance": "0.05", "height_share": "0.05"}
    first = FirstLimits(shrink_sd=Decimal("2.5"), ratio_tolerance=Decimal("0.05"))
    assert rules_of(body)["K1"].first == first


def test_rules_from_before_a_warning_took_a_word_are_kept_as_they_were():
    """So that a day's journal is replayed by the rules of its day."""
    body = rules_body({"K1": Rules()})
    assert rules_of(body)["K1"].accept_word
    del body["K1"]["accept_word"]
    assert not rules_of(body)["K1"].accept_word
