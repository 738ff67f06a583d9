"""Edges of the session: limits, tags among many, taking back, notes. All values invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from session_tools import AT, Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, KeepMemo
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, Plot, PlotSettings, Tree
from callout.core.units import Scale, Unit
from callout.session.phase import Phase
from callout.session.state import Survey

RULES = Rules(walk=False)


def talk(**settings: object) -> Talk:
    """Trees 83, 84 and 85 of plot K2, without a past."""
    about = survey(tree("83"), tree("84"), tree("85"), rules=RULES)
    plot = about.plots["K2"]
    made = replace(plot, settings=replace(plot.settings, **settings))  # type: ignore[arg-type]
    return Talk(replace(about, plots={"K2": made}))


def many_plots() -> Talk:
    names = ("K1", "K2", "K3")
    plots = {
        name: Plot(PlotSettings(name), {tag: Tree(name, tag, "beech") for tag in ("83", "84")})
        for name in names
    }
    return Talk(Survey(plots, dict.fromkeys(names, RULES)))


# ---- what is recorded ----


@pytest.mark.parametrize(
    ("size", "fits"), [("2.0", True), ("1.9", False), ("60.0", True), ("60.1", False)]
)
def test_the_plot_s_limits_are_themselves_allowed(size: str, fits: bool) -> None:
    one = talk(smallest=Decimal("2.0"), largest=Decimal(60))
    said = one.read("83", size)
    if fits:
        assert said.startswith(f"83, {size}") and said.endswith("Confirm?")
    else:
        assert "outside 2.0 to 60 cm. Is the decimal point right? Accept?" in said


def test_another_unit_is_told_and_converted_and_the_plot_s_own_is_not() -> None:
    """An inch is 2.54 cm (1959 agreement)."""
    one = talk()
    assert one.read("83", "10.0", unit=Unit.INCH) == (
        "83, 10.0 inches, kept as 25.4 centimetres, you said inches, this plot is kept in "
        "centimetres. Which unit does the tape show? Accept?"
    )
    assert one.read("83", "25.4", unit=Unit.CENTIMETRE) == "83, 25.4. Confirm?"


def test_a_girth_is_said_or_the_plot_s() -> None:
    """A girth of 100.0 is a diameter of 31.8 (over pi; worked out by hand)."""
    side = "Which side of the tape was read? Accept?"
    assert talk().read("83", "100", scale=Scale.GIRTH) == (
        f"83, girth 100.0, diameter 31.8, you said girth, this plot is measured by diameter. {side}"
    )
    one = talk(scale=Scale.GIRTH)
    assert one.read("83", "100.0") == "83, girth 100.0, diameter 31.8. Confirm?"
    assert one.read("83", "31.8", scale=Scale.DIAMETER) == (
        f"83, 31.8, you said diameter, this plot is measured by girth. {side}"
    )
    one.read("83", "100.0")
    one.hear("confirm")
    assert (one.saved.raw, one.saved.raw_unit) == (Decimal("100.0"), Unit.CENTIMETRE)


def test_species_said_first_then_the_roster_s_then_none() -> None:
    one = talk()
    one.save("83", "24.6")
    assert one.saved.species == "beech"
    one.hear("new", tag="95", value=Decimal("12.0"), species="larch")
    one.hear("accept")
    assert (one.saved.species, one.saved.is_new) == ("larch", True)
    one.hear("new", tag="96", value=Decimal("12.0"))
    one.hear("accept")
    assert (one.saved.species, one.saved.is_new) == ("", True)


def test_the_height_of_last_time_is_carried_in_an_open_plot_alone() -> None:
    old = tree("83", "24.0", measured_at_m="1.60")
    for blind, height in ((False, Decimal("1.60")), (True, None)):
        one = Talk(survey(old, rules=Rules(walk=False, blind=blind)))
        one.read("83", "24.6")
        assert one.memory.pending is not None
        assert one.memory.pending.draft.height_m == height
        one.read("83", "24.6", height_m=Decimal("1.9"))
        assert one.memory.pending.draft.height_m == Decimal("1.9")


def test_a_word_of_warning_stays_with_a_changed_height_and_is_not_doubled() -> None:
    one = talk()
    one.read("99", "10.0", unit=Unit.INCH)
    said = one.hear("height", height_m=Decimal("1.45"))
    assert said.count("you said in") == said.count("no tree 99") == 1
    one.hear("accept")
    assert sorted(one.saved.warnings) == ["other unit", "unknown tag"]


def test_a_size_too_large_for_its_species_is_told_and_a_status_is_not() -> None:
    """Beech is said to grow to 40 cm here; half as much again is let pass (a limit of ours)."""
    rules = Rules(walk=False, largest_cm={"beech": Decimal(40)})
    one = Talk(survey(tree("83"), tree("84", species="larch"), rules=rules))
    assert one.read("83", "60.1").startswith("83, 60.1, size 6 0, large for beech. Is it that")
    assert one.read("83", "59.9") == "83, 59.9. Confirm?"
    assert one.read("84", "65.0").endswith("84, 65.0. Confirm?")
    assert one.hear("status", tag="83", status="cut").endswith("83, cut. Confirm?")
    one.hear("confirm")
    assert one.saved.warnings == ()


# ---- taking back ----


def test_only_what_was_saved_last_is_taken_back_and_the_rest_stands() -> None:
    one = talk()
    for tag in ("84", "83", "85"):
        one.save(tag, "24.6")
    assert one.undo() == "Undone: 85, 24.6 is taken back."
    assert sorted(tag for _, tag, _ in one.memory.saved) == ["83", "84"]
    assert one.undo() == "Undone: 83, 24.6 is taken back."
    assert one.hear("left") == "2 left: 83, 85."
    assert one.hear("repeat") == "Undone: 83, 24.6 is taken back."


@pytest.mark.parametrize("stem", ["3", "1", "2"])
def test_what_stands_again_is_that_stem_s_last_reading(stem: str) -> None:
    one = talk()
    for value in ("21.1", "22.2"):
        one.save("83", value, stem=stem)
    kept = one.saved
    for other in {"1", "2", "3"} - {stem}:
        one.save("83", "10.0", stem=other)
    one.save("84", "11.0")
    one.save("83", "23.3", stem=stem)
    which = f"83 stem {stem}"
    assert one.hear("undo") == f"Undo {which}, 23.3: 22.2 stands again. Accept?"
    one.hear("reject")
    assert one.undo() == (f"Undone: {which}, 23.3 is taken back. {which}, 22.2 stands again.")
    assert one.memory.saved["K2", "83", stem] == kept
    assert len(one.memory.saved) == 4


def test_in_a_blind_plot_what_stands_again_is_not_told() -> None:
    one = Talk(survey(tree("83"), tree("84"), rules=Rules(walk=False, blind=True)))
    one.save("83", "21.1")
    one.save("83", "22.2")
    assert one.hear("undo") == "Undo 83, 22.2: the reading before stands again. Accept?"
    assert one.hear("accept") == (
        "Undone: 83, 22.2 is taken back. The reading before of 83 stands again."
    )


def test_a_reading_taken_back_is_as_it_was_read_with_a_new_entry() -> None:
    one = talk()
    one.save("83", "24.6", stem="1")
    saved = one.saved
    one.undo()
    void = one.saved
    assert (void.entry, void.supersedes, void.void) == (len(one.events), saved.entry, True)
    assert (void.tag, void.stem, void.value, void.raw) == ("83", "1", saved.value, saved.raw)


# ---- tags among many ----


def renewed(one: Talk) -> None:
    """Tree 84 has tag 312 from now on, saved; 83 has 305."""
    for tag, new in (("84", "312"), ("83", "305")):
        one.hear("retag", tag=tag, new_tag=new)
        one.save(tag, "24.6")


@pytest.mark.parametrize("unknown", ["304", "306", "311", "313"])
def test_a_tag_between_two_new_ones_is_neither(unknown: str) -> None:
    one = talk()
    renewed(one)
    assert one.hear("tree", tag=unknown).startswith(f"No tree {unknown} in this plot")
    assert one.hear("tree", tag="312") == "Tree 312, was 84, beech. Diameter?"
    assert one.hear("tree", tag="305") == "Tree 305, was 83, beech. Diameter?"


@pytest.mark.parametrize("unknown", ["304", "306", "311", "313"])
def test_so_it_is_while_they_are_only_told(unknown: str) -> None:
    one = talk()
    one.hear("retag", tag="84", new_tag="312")
    one.hear("retag", tag="83", new_tag="305")
    assert one.hear("tree", tag=unknown).startswith(f"No tree {unknown} in this plot")
    assert one.read("312", "24.6") == "312, was 84, 24.6. Confirm?"
    assert one.read("305", "24.7").endswith("305, was 83, 24.7. Confirm?")


@pytest.mark.parametrize("plot", ["K1", "K3"])
def test_another_plot_s_new_tag_is_no_tree_here_told_or_saved(plot: str) -> None:
    one = many_plots()
    one.open(plot)
    one.hear("retag", tag="83", new_tag="305")
    one.hear("retag", tag="84", new_tag="306")
    one.save("306", "24.6")
    one.open("K2")
    for new in ("305", "306"):
        assert one.hear("tree", tag=new).startswith(f"No tree {new} in this plot")
    assert one.hear("tree", tag="83") == "Tree 83, beech. Diameter?", "its tag hangs here"
    assert one.hear("retag", tag="83", new_tag="305") == "Tree 305, was 83, beech. Diameter?"
    one.save("83", "20.0")
    assert one.saved.new_tag == "305"
    one.open(plot)
    assert one.read("305", "24.6") == "305, was 83, 24.6. Confirm?", "still told there"


def test_taking_one_new_tag_back_leaves_the_others() -> None:
    one = talk()
    one.hear("retag", tag="84", new_tag="312")
    one.hear("retag", tag="83", new_tag="305")
    one.read("83", "24.6")
    one.hear("reject")
    one.hear("scratch")
    assert one.read("312", "24.6") == "312, was 84, 24.6. Confirm?"
    assert one.read("83", "24.7").endswith("not saved. 83, 24.7. Confirm?")


def test_a_new_tag_told_again_is_told_of_what_was_saved_last() -> None:
    one = talk()
    one.save("83", "21.1")
    one.save("83", "22.2")
    one.save("84", "33.3")
    assert one.hear("retag", tag="83", new_tag="312") == ("312 again: was 83, 22.2. Accept?")
    one.hear("reject")
    one.hear("scratch")
    one.undo()
    one.undo()
    assert one.hear("retag", tag="83", new_tag="312") == ("312 again: was 83, 21.1. Accept?")


def test_a_tree_announced_as_new_is_not_the_one_with_that_new_tag() -> None:
    one = talk()
    renewed(one)
    said = one.hear("new", tag="312", value=Decimal("8.0"), species="beech")
    assert said.startswith("New tree 312, beech, 8.0, tree 312 is already in this plot")
    one.hear("accept")
    assert (one.saved.tag, one.saved.is_new) == ("312", True)


# ---- notes, skipping ----


def spoken(one: Talk, words: str) -> str:
    meaning = (Meaning("confirm"),)
    one.take(Heard(len(one.events) + 1, AT, "voice", words, meaning, audio="cd"))
    return one.said


def test_a_note_is_about_the_tree_by_the_tag_that_hangs_there() -> None:
    one = talk()
    one.hear("note")
    assert spoken(one, "a gate") == "Note kept about plot K2."
    one.hear("retag", tag="83", new_tag="312")
    one.hear("note")
    assert spoken(one, "a fork") == "Note kept about tree 312."
    assert one.effects[0] == KeepMemo(len(one.events), AT, "83", "cd", "a fork")
    assert one.memory.phase is Phase.NAMED


def test_asked_for_twice_a_note_still_goes_back_to_where_it_was() -> None:
    one = talk()
    one.read("83", "24.6")
    one.hear("note")
    one.hear("note")
    spoken(one, "confirm the fork")
    assert one.memory.phase is Phase.PENDING
    one.hear("confirm")
    assert one.saved.value == Decimal("24.6")


def test_what_is_typed_while_a_note_is_awaited_is_a_callout() -> None:
    one = talk()
    one.hear("note")
    assert one.read("83", "24.6") == ("No note about plot K2 was kept. / 83, 24.6. Confirm?")
    assert one.memory.phase is Phase.PENDING


def test_a_size_typed_while_a_note_is_awaited_is_the_tree_s_in_hand() -> None:
    one = talk()
    one.hear("tree", tag="83")
    one.hear("note")
    left = "No note about tree 83 was kept. / "
    assert one.hear("height", height_m=Decimal("1.4")) == f"{left}Height cannot be done now."
    one.hear("note")
    assert one.hear("size", value=Decimal("24.6")) == f"{left}83, 24.6. Confirm?"


def test_a_skipped_tree_stays_on_the_list_and_is_called_by_its_tag() -> None:
    one = talk()
    one.hear("retag", tag="83", new_tag="312")
    assert one.hear("skip") == "Skipped 312; it stays on the list."
    assert one.hear("skip") == "No tree in hand to skip."
    assert one.hear("left") == "3 left: 83, 84, 85."
    assert one.hear("where") == "Plot K2. Nothing saved yet."
    one.hear("tree", tag="84")
    one.hear("skip")
    assert one.memory.skipped == ("83", "84")


def test_where_tells_what_was_saved_last_and_what_is_in_hand() -> None:
    one = talk()
    one.save("83", "24.6")
    one.save("84", "25.6")
    one.hear("retag", tag="85", new_tag="312")
    assert one.hear("where") == "Plot K2. Last saved 84, 25.6. In hand: tree 312."
    one.hear("size", value=Decimal("26.6"))
    assert (
        one.hear("where")
        == "Plot K2. Last saved 84, 25.6. Still waiting: 312, was 85, 26.6. Confirm?"
    )
    assert one.hear("repeat") == "312, was 85, 26.6. Confirm?"


def test_scratched_nothing_is_in_hand_any_more() -> None:
    one = talk()
    one.hear("tree", tag="83")
    assert one.hear("scratch") == "Dropped, nothing saved."
    assert one.hear("repeat") == "Dropped, nothing saved."
    assert one.hear("size", value=Decimal("24.6")).startswith("24.6: which tree?")
    assert one.hear("status", status="cut").startswith("Which tree?")
    assert one.hear("amend", value=Decimal("24.6")).startswith("24.6: which tree?")


@pytest.mark.parametrize(("status", "warned"), [(None, ["too slow"]), ("dead_standing", [])])
def test_what_is_dead_may_stand_still(status: str | None, warned: list[str]) -> None:
    """Thirty invented trees that grew a centimetre a year; one of them hardly grew since."""
    trees = [
        Tree("K2", str(tag), "beech", tuple(
            PastMeasurement(date(year, 6, 1), Decimal(10 + tag % 7 + at * 5), Unit.CENTIMETRE)
            for at, year in enumerate((2006, 2011, 2016, 2021))))
        for tag in range(1, 31)
    ]  # fmt: skip
    one = Talk(survey(*trees, rules=Rules(walk=False)))
    one.read("1", "26.4", status=status)
    assert one.memory.pending is not None
    assert [item.check for item in one.memory.pending.warned] == warned


@pytest.mark.parametrize("blind", [False, True])
def test_a_stem_beside_the_whole_tree_tells_its_size_unless_measured_blind(blind: bool) -> None:
    one = Talk(survey(tree("83"), rules=Rules(walk=False, blind=blind)))
    one.read("83", "24.6")
    one.hear("confirm")
    said = one.read("83", "9.2", stem="2")
    assert one.memory.pending is not None
    assert "stem beside tree" in [item.check for item in one.memory.pending.warned]
    assert ("24.6" in said) is not blind


def test_a_stem_beside_a_tree_without_a_size() -> None:
    one = Talk(survey(tree("83"), rules=Rules(walk=False)))
    one.hear("status", tag="83", status="missing")
    one.hear("confirm")
    assert "other stem" in one.read("83", "9.2", stem="2")


def test_an_undo_that_waits_is_told_as_let_go_by_a_reading_of_the_same_tree() -> None:
    one = talk()
    one.read("83", "24.6")
    one.hear("confirm")
    one.hear("undo")
    assert "was not undone" in one.read("83", "25.0")
    assert "83 again: 25.0" in one.said


def test_a_corrected_size_keeps_the_unit_it_was_called_in() -> None:
    one = talk()
    one.read("83", "9.7", unit=Unit.INCH)
    one.hear("amend", value=Decimal("9.8"))
    assert one.memory.pending is not None
    draft = one.memory.pending.draft
    assert (str(draft.raw), draft.raw_unit) == ("9.8", Unit.INCH)
    one.hear("amend", value=Decimal("24.6"), unit=Unit.CENTIMETRE)
    assert one.memory.pending is not None
    assert one.memory.pending.draft.raw_unit is Unit.CENTIMETRE


@pytest.mark.parametrize(("size", "taken"), [("1", True), ("200", True), ("201", False)])
def test_the_ends_of_the_range_are_sizes_though_trees_have_those_tags(
    size: str, taken: bool
) -> None:
    one = Talk(survey(tree("83"), tree("1"), tree("200"), tree("201"), rules=RULES))
    one.hear("tree", tag="83")
    one.hear("size", value=Decimal(size))
    assert (one.memory.pending is not None) is taken


@pytest.mark.parametrize(("called", "kept"), [("24.56", "24.6"), ("24.54", "24.5")])
def test_a_figure_that_is_rounded_up_or_down_is_told_both_ways(called: str, kept: str) -> None:
    assert talk().read("83", called).startswith(f"83, {called}, kept as {kept}")


@pytest.mark.parametrize(
    ("day", "check"), [(AT[:10], "measured today"), ("2026-06-03", "measured this visit")]
)
def test_measured_before_tells_today_from_another_day(day: str, check: str) -> None:
    one = talk()
    one.read("83", "24.6")
    one.hear("confirm")
    meaning = Meaning("reading", "83", Decimal("24.8"))
    later = f"{day}T17:00:00.000+02:00"
    one.take(Heard(len(one.events) + 1, later, "voice", "83", (meaning,)))
    assert one.memory.pending is not None
    assert check in [item.check for item in one.memory.pending.warned]


def test_digits_are_undone_in_the_figure_that_was_called() -> None:
    """24.6 cm five years ago is 9.7 inches; 7.9 inches are 20.1 cm, whose digits tell nothing."""
    one = Talk(survey(tree("83", "24.6"), rules=RULES))
    one.read("83", "7.9", unit=Unit.INCH)
    assert one.memory.pending is not None
    assert "swapped digits" in [item.check for item in one.memory.pending.warned]


def test_an_echo_was_asked_when_it_was_given() -> None:
    one = talk()
    one.read("83", "24.6")
    pending = one.memory.pending
    assert pending is not None
    later = replace(one.memory, pending=replace(pending, asked_at="2026-06-02T10:00:00.000+02:00"))
    assert later.asked_at == "2026-06-02T10:00:00.000+02:00"
    unknown = replace(one.memory, pending=replace(pending, asked_at=""))
    assert unknown.asked_at == pending.draft.at != ""
