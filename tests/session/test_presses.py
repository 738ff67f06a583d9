"""How a press of a tape meets its tree, each rule as a small story; the readings are invented."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from session_tools import AT, Talk, replayed, survey, tree

from callout.core.checking.checks import Rules
from callout.core.events import Heard, Save, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import Plot, PlotSettings, Tree
from callout.core.saying import as_is
from callout.core.units import Scale, Unit
from callout.session.phase import Phase
from callout.session.state import Survey

RULES = Rules(walk=False, join_s=Decimal(30))


def at(seconds: float) -> str:
    return (datetime.fromisoformat(AT) + timedelta(seconds=seconds)).isoformat()


class Day(Talk):
    """A talk whose callouts come at their own times, in seconds."""

    def call(self, seconds: float, kind: str, **parts: object) -> str:
        meaning = Meaning(kind, **parts)  # type: ignore[arg-type]
        self.take(Heard(len(self.events) + 1, at(seconds), "voice", kind, (meaning,)))
        return self.said

    def tree(self, seconds: float, tag: str, **parts: object) -> str:
        return self.call(seconds, "tree", tag=tag, **parts)

    def press(self, seconds: float, value: str, tape: str = "tape", tag: str | None = None) -> str:
        meaning = Meaning("press", tag, Decimal(value), Unit.CENTIMETRE, scale=Scale.DIAMETER)
        heard = Heard(
            len(self.events) + 1, at(seconds + 0.1), "tape", f"{value} cm", (meaning,),
            engine=tape, pressed_at=at(seconds),
        )  # fmt: skip
        self.take(heard)
        return self.said


def day(**rules: object) -> Day:
    trees = (tree("83"), tree("84"), tree("85"))
    return Day(survey(*trees, rules=Rules(walk=False, **rules)))  # type: ignore[arg-type]


def test_tree_then_press() -> None:
    one = day()
    one.tree(0, "83")
    assert one.press(5, "24.6") == "83, 24.6. Confirm?"
    one.call(8, "confirm")
    row = one.saved
    assert (row.tag, str(row.value), row.source, row.engine) == ("83", "24.6", "tape", "tape")
    assert (row.words, row.raw_scale) == ("24.6 cm", "diameter")


def test_press_then_tree_waits_and_asks() -> None:
    one = day()
    assert one.press(0, "24.6") == "Tape 24.6 cm: which tree?"
    assert one.tree(5, "83") == "83, 24.6. Confirm?"
    one.call(8, "confirm")
    assert (one.saved.source, one.saved.engine, one.saved.words) == ("tape", "tape", "24.6 cm")
    assert one.memory.press is None


def test_the_later_of_two_presses_takes_the_place_of_the_earlier() -> None:
    one = day()
    one.tree(0, "83")
    one.press(5, "24.6")
    assert one.press(9, "24.8") == "83, 24.8. Confirm?"
    one = day()
    one.press(5, "24.6")
    assert one.press(9, "24.8") == "Tape 24.6 cm is dropped. Tape 24.8 cm: which tree?"
    assert one.tree(12, "83") == "83, 24.8. Confirm?"


def test_after_confirmation_a_press_asks_for_its_tree() -> None:
    one = day()
    one.tree(0, "83")
    one.press(5, "24.6")
    one.call(7, "confirm")
    assert one.press(9, "31.2") == "Tape 31.2 cm: which tree?"


def test_after_a_refusal_the_same_tree_is_measured_again() -> None:
    one = day()
    one.tree(0, "83")
    one.press(5, "24.6")
    one.call(20, "reject")
    assert one.press(40, "24.8") == "83, 24.8. Confirm?"


def test_a_second_tape_never_swaps_a_waiting_reading() -> None:
    one = day()
    one.tree(0, "83")
    one.press(5, "24.6")
    said = one.press(8, "31.2", "caliper")
    assert said == (
        "Tape 31.2 cm is not taken: caliper was pressed while tape waits. "
        "Still waiting: 83, 24.6. Confirm?"
    )
    one.call(9, "confirm")
    assert str(one.saved.value) == "24.6"
    one.tree(10, "84")
    assert one.press(12, "31.2", "caliper") == "84, 31.2. Confirm?"


def test_two_tapes_with_no_tree_named_are_both_set_aside() -> None:
    one = day()
    one.press(0, "24.6")
    assert one.press(2, "31.2", "caliper") == (
        "Tape and caliper were both pressed with no tree named: press again."
    )
    assert one.tree(4, "83") == "Tree 83, beech. Diameter?"


def test_nothing_joins_across_the_window() -> None:
    one = day()
    one.tree(0, "83")
    assert one.press(30.001, "24.6") == "Tape 24.6 cm: which tree?"
    one = day()
    one.tree(0, "83")
    assert one.press(30, "24.6") == "83, 24.6. Confirm?"
    one = day()
    one.press(0, "24.6")
    assert one.tree(30.001, "83") == (
        "Tape 24.6 cm waited too long for its tree: press again. Tree 83, beech. Diameter?"
    )
    assert one.memory.press is None
    one = day(join_s=Decimal(5))
    one.tree(0, "83")
    assert one.press(6, "24.6") == "Tape 24.6 cm: which tree?"


def test_silence_reminds_of_a_press_and_then_lets_it_go() -> None:
    one = day()
    one.press(0, "24.6")
    one.take(TimedOut(len(one.events) + 1, at(20)))
    assert one.said == "Still waiting: tape 24.6 cm: which tree?"
    one.take(TimedOut(len(one.events) + 1, at(40)))
    assert one.said == "Tape 24.6 cm waited too long for its tree: press again."
    assert one.memory.press is None
    one.take(TimedOut(len(one.events) + 1, at(60)))
    assert one.said == ""


def test_a_clock_that_goes_back_joins_nothing() -> None:
    one = day()
    one.tree(0, "83")
    assert one.press(-1, "24.6") == "Tape 24.6 cm: which tree?"


@pytest.mark.parametrize("sent", ["83", "85"])
def test_a_tag_before_or_after_the_one_in_hand_is_another_tree(sent: str) -> None:
    one = day()
    one.tree(0, "84")
    assert "Confirm" not in one.press(5, "24.6", tag=sent)
    assert one.memory.pending is None


def test_a_tag_sent_by_the_tape_joins_unless_another_was_spoken() -> None:
    assert day().press(5, "24.6", tag="84") == "84, 24.6. Confirm?"
    one = day()
    one.tree(0, "84")
    assert one.press(5, "24.6", tag="84") == "84, 24.6. Confirm?"
    one.tree(6, "83")
    assert one.press(9, "24.6", tag="84") == (
        "Tape 24.6 cm is for tree 84, tree 83 was named: press again."
    )
    assert one.memory.pending is None


def test_a_press_that_waited_is_told_when_another_brings_its_own_tag() -> None:
    one = day()
    one.press(0, "24.6")
    assert one.press(3, "31.2", tag="84") == "Tape 24.6 cm is dropped. 84, 31.2. Confirm?"


@pytest.mark.parametrize("kind", ["reading", "new"])
def test_a_size_that_was_called_is_not_swapped_for_the_press_that_waits(kind: str) -> None:
    one = day()
    one.press(0, "24.6")
    tag = "83" if kind == "reading" else "95"
    said = one.call(3, kind, tag=tag, value=Decimal("31.2"))
    assert said.startswith("Tape 24.6 cm is dropped. ")
    assert "31.2" in said and one.memory.press is None


# ---- where two machines disagreed once ----


def test_a_press_goes_to_the_tree_whose_tag_was_just_lost() -> None:
    one = day()
    one.call(0, "retag", tag="83", new_tag="312")
    assert one.press(4, "24.6") == "312, was 83, 24.6. Confirm?"


def test_a_press_does_not_go_to_a_tree_that_was_skipped() -> None:
    one = day()
    one.tree(0, "83")
    one.call(2, "skip")
    assert one.press(4, "24.6") == "Tape 24.6 cm: which tree?"


def test_a_press_does_not_go_to_a_tree_named_in_another_plot() -> None:
    plots = {name: Plot(PlotSettings(name), {"83": Tree(name, "83")}) for name in ("K1", "K2")}
    one = Day(Survey(plots, dict.fromkeys(plots, RULES)))
    one.tree(0, "83")
    one.open("K1")
    assert one.press(4, "24.6") == "Tape 24.6 cm: which tree?"
    assert one.open("K2").startswith("Tape 24.6 cm is dropped. ")


@pytest.mark.parametrize("refused", ["99", None])
def test_a_press_does_not_go_to_the_tree_before_a_refused_callout(refused: str | None) -> None:
    one = day()
    one.tree(0, "83")
    if refused:
        one.tree(2, refused)
    else:
        one.take(Heard(len(one.events) + 1, at(2), "voice", "?", (), problem=as_is("say again")))
    assert one.press(4, "24.6").startswith("Tape 24.6 cm: which tree?")


def test_a_press_keeps_stem_status_species_and_height_of_the_tree_in_hand() -> None:
    one = day()
    one.tree(0, "83", stem="2")
    assert one.press(3, "12.4") == "83 stem 2, 12.4. Confirm?"
    one.call(4, "height", height_m=Decimal("1.45"))
    assert one.press(6, "12.6") == "83 stem 2, 12.6, measured at 1.45 metres. Confirm?"
    one.call(8, "status", tag="84", status="dead_standing")
    assert one.press(9, "31.0") == "84, 31.0, dead standing. Confirm?"
    one.call(10, "new", tag="95", value=Decimal("8.0"), species="beech")
    assert one.press(12, "8.2") == "New tree 95, beech, 8.2. Confirm?"


def test_a_new_tree_takes_the_press_that_waits() -> None:
    one = day()
    one.press(0, "8.2")
    assert one.call(3, "new", tag="95", species="beech") == "New tree 95, beech, 8.2. Confirm?"
    assert day().call(3, "new", tag="95") == "New tree 95. Diameter?"


def test_no_and_stop_let_a_press_go() -> None:
    for word in ("reject", "scratch"):
        one = day()
        one.press(0, "24.6")
        assert one.call(2, word) == "Tape 24.6 cm is dropped. Dropped, nothing saved."
        assert one.memory.press is None and one.memory.phase is Phase.IDLE


def test_a_press_while_an_undo_waits_is_no_size_for_it() -> None:
    one = day()
    one.save("83", "24.6")
    one.call(1, "undo")
    assert one.press(3, "31.2").startswith("Tape 31.2 cm: which tree? Still waiting: undo 83, 24.6")
    one.call(5, "accept")
    assert one.saved.void and one.memory.saved == {}


def test_the_girth_of_a_tape_is_told_and_kept_as_a_diameter() -> None:
    """A girth of 90.0 is a diameter of 28.6 (over pi; worked out by hand)."""
    one = day()
    meaning = Meaning("press", None, Decimal("90.0"), Unit.CENTIMETRE, scale=Scale.GIRTH)
    one.take(Heard(2, at(0), "tape", "90.0 cm", (meaning,), engine="tape"))
    assert one.said == "Tape girth 90.0 cm: which tree?"
    assert one.tree(4, "83") == "83, girth 90.0, diameter 28.6. Confirm?"


moments = st.floats(-5, 40, allow_nan=False)
stories = st.lists(
    st.one_of(
        st.tuples(st.just("tree"), moments, st.sampled_from(["83", "84"])),
        st.tuples(st.just("press"), moments, st.sampled_from(["tape", "caliper"])),
        st.tuples(st.sampled_from(["accept", "reject", "skip", "repeat"]), moments, st.just("")),
    ),
    max_size=12,
)


@given(stories)
def test_every_press_is_told_and_joined_within_the_window_only(
    story: list[tuple[str, float, str]],
) -> None:
    one, now, presses = day(), 0.0, 0
    told, named = "", dict[str, float]()
    for kind, later, what in story:
        now += later
        if kind == "press":
            presses += 1
            said = one.press(now, f"{presses}.5", what)
            assert f"{presses}.5 cm" in said or f", {presses}.5" in said or "both" in said
            pending = one.memory.pending
            if pending is not None and str(pending.draft.raw) == f"{presses}.5":
                assert now - named[pending.draft.tag] <= 30
                named[pending.draft.tag] = now
        elif kind == "tree":
            one.tree(now, what)
            named[what] = now
        else:
            one.call(now, kind)
            if kind == "reject":
                named = {tag: max(now, when) for tag, when in named.items()}
        told += one.said
        assert kind == "accept" or not any(isinstance(item, Save) for item in one.effects)
    assert replayed(one.survey, one.events) == one.memory


@pytest.mark.parametrize("edition", [1, 2, 3])
def test_in_the_first_edition_a_press_asked_for_its_tree_whatever_was_in_hand(edition: int) -> None:
    one = day(edition=edition)
    one.tree(0, "83")
    assert one.press(5, "24.6").startswith("Tape 24.6 cm" if edition == 1 else "83, 24.6")
