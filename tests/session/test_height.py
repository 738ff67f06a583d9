"""The height of measurement: carried from last time, called back, questioned where it moved."""

from __future__ import annotations

from decimal import Decimal

from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules


def test_the_height_of_last_time_is_carried_and_called_back():
    talk = Talk(survey(tree("83", "42.0", measured_at_m="1.60")))
    assert talk.read("83", "42.4") == "83, 42.4, measured at 1.60 metres. Confirm?"
    talk.hear("confirm")
    assert talk.saved.height_m == Decimal("1.60")
    assert talk.saved.warnings == ()


def test_another_height_is_questioned_and_kept():
    talk = Talk(survey(tree("83", "42.0", measured_at_m="1.60")))
    talk.read("83", "42.4")
    said = talk.hear("height", height_m=Decimal("1.9"))
    assert "measured at 1.60 metres last time" in said
    talk.hear("confirm")
    assert talk.saved.height_m == Decimal("1.9")
    assert talk.saved.warnings == ("height of measurement",)


def test_a_height_put_right_is_no_longer_questioned():
    talk = Talk(survey(tree("83", "42.0", measured_at_m="1.60")))
    talk.read("83", "40.7")
    talk.hear("height", height_m=Decimal("1.9"))
    said = talk.hear("height", height_m=Decimal("1.6"))
    assert "last time" not in said
    assert "down 1.3" in said, "the other warning stays"


def test_a_status_has_no_height():
    talk = Talk(survey(tree("83", "42.0", measured_at_m="1.60")))
    talk.hear("status", tag="83", status="missing")
    talk.hear("confirm")
    assert talk.saved.height_m is None


def test_a_roster_height_that_is_no_number_is_said():
    talk = Talk(survey(tree("83", "42.0", measured_at_m="high")))
    assert "the roster's height 'high' is no number" in talk.read("83", "42.4")


def test_another_standard_is_said_once_for_a_plot_and_at_the_tree_for_one():
    """1.37 m in the US, 1.30 m elsewhere (common practice)."""
    old = [tree(str(n), "42.0", breast_height_m="1.37") for n in (1, 2)]
    talk = Talk(survey(*old, rules=Rules(walk=False)))
    assert talk.said.endswith(
        "Breast height was 1.37 metres last time, here it is 1.30. Where is the old line?"
    )
    assert talk.read("1", "42.4") == "1, 42.4. Confirm?"
    same = [tree(str(n), "42.0", breast_height_m="1.30") for n in (3, 4)]
    mixed = Talk(survey(old[0], *same))
    assert "Breast" not in mixed.said
    assert "breast height was 1.37 metres last time" in mixed.read("1", "42.4")
