"""Blind plots: nothing of history before a reading is saved, all of it afterwards."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Opened

BLIND, OPEN = Rules(blind=True), Rules()


def test_checks_fire_after_saving_and_are_recorded():
    """Invented: 40.0 five years ago. 3.6 SD of 400 mm are 12.2011 mm (census rule); 13 down."""
    talk = Talk(survey(tree("83", "40.0"), tree("84", "30.0"), rules=BLIND))
    assert talk.read("83", "38.7") == "83, 38.7. Confirm?"
    said = talk.hear("confirm")
    assert said == (
        "Saved 83, 38.7. / Look again at 83: that is down 1.3 in 5 years. "
        "Tape slack or twisted? above the paint line?"
    )
    assert talk.saved.warnings == ("shrunk",)
    talk.hear("amend", value=Decimal("40.5"))
    assert talk.hear("accept") == "Saved 83, 40.5. / Next 84."
    assert talk.saved.warnings == ()  # a correction right after: no tag can have been misread
    assert talk.saved.supersedes is not None


def test_the_same_reading_in_an_open_plot_is_questioned_first():
    talk = Talk(survey(tree("83", "40.0"), rules=OPEN))
    assert "that is down 1.3 in 5 years." in talk.read("83", "38.7")
    talk.hear("accept")
    assert talk.saved.warnings == ("shrunk",)


def test_what_needs_no_history_is_still_told_first():
    talk = Talk(survey(tree("83", "40.0"), rules=BLIND))
    assert "outside" in talk.read("83", "400")
    assert "no tree 84" in talk.read("84", "40.1")
    talk.hear("new", tag="90", value=Decimal(12), species="red oak")
    assert "no red oak in this plot so far" in talk.said


def test_dead_last_time_is_told_afterwards():
    talk = Talk(survey(tree("83", "40.0", status="dead standing"), rules=BLIND))
    assert "dead" not in talk.read("83", "40.1")
    assert "dead standing last time" in talk.hear("confirm")
    assert talk.saved.warnings == ("dead last time",)


def test_another_measurer_s_value_is_not_told():
    talk = Talk(survey(tree("83", "40.0"), rules=BLIND))
    talk.save("83", "41.7")
    talk.take(Opened(len(talk.events) + 1, AT, "K2", "M.O."))
    assert talk.read("83", "41.2") == (
        "83 again: 41.2 instead of the reading before. Is this the right tag? Accept?"
    )
    talk.hear("accept")
    assert "41.7" not in talk.hear("undo")


values = st.decimals(min_value=2, max_value=150, places=1)
extras = st.fixed_dictionaries(
    {},
    optional={
        "status": st.sampled_from(["dead standing", "cut", "live"]),
        "measured_at_m": st.sampled_from(["1.60", "2.10", "high"]),
        "breast_height_m": st.sampled_from(["1.37", "1.30", "?"]),
    },
)


@given(st.lists(st.tuples(values, values, extras), min_size=1, max_size=4))
def test_before_saving_a_blind_plot_says_the_same_whatever_the_history(trees):
    """What waits for confirmation, and all that is said, is that of trees without a past."""
    known = [tree(str(n), str(former), **extra) for n, (former, _, extra) in enumerate(trees)]
    unknown = [tree(str(n)) for n in range(len(trees))]
    with_past, without = (Talk(survey(*one, rules=BLIND)) for one in (known, unknown))
    assert with_past.effects == without.effects
    for number, (_, now, _) in enumerate(trees):
        for talk in (with_past, without):
            talk.hear("tree", tag=str(number))
            talk.read(str(number), str(now))
        assert with_past.effects == without.effects
        assert with_past.memory.pending == without.memory.pending
        with_past.hear("accept")
        without.hear("accept")
        assert with_past.saved.value == without.saved.value


@pytest.mark.parametrize("rules", [BLIND, OPEN])
@given(st.lists(st.tuples(st.integers(0, 3), values), max_size=8))
def test_history_never_changes_a_value(rules, readings):
    talk = Talk(survey(*(tree(str(n), "30.0") for n in range(4)), rules=rules))
    for tag, value in readings:
        talk.save(str(tag), str(value))
        assert talk.saved.value == value
