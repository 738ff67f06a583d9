"""What is asked where two things may have been said: only what parts them, in words to be said."""

from __future__ import annotations

from decimal import Decimal

import in_english
import pytest
from session_tools import Talk, survey, tree

from callout.core.checking.checks import Rules
from callout.core.meaning import Meaning
from callout.core.units import Scale, Unit
from callout.session.told.doubts import UNSURE, doubt


def size(value: str, **more: object) -> Meaning:
    return Meaning("reading", "83", Decimal(value), **more)


@pytest.mark.parametrize(
    ("first", "second", "asked"),
    [
        (Meaning("reject"), Meaning("note"), "could be no, or note: say it again"),
        (size("16"), size("60"), "could be 1 6, or 6 0: say it again, digit by digit"),
        (size("24.6"), size("24.5"), "could be 2 4 point 6, or 2 4 point 5: say it again, "
         "digit by digit"),
        (size("24", unit=Unit.CENTIMETRE), size("24", unit=Unit.INCH),
         "could be 2 4 cm, or 2 4 in: say it again, digit by digit"),
        (size("24", unit=Unit.INCH), size("25", unit=Unit.INCH),
         "could be 2 4, or 2 5: say it again, digit by digit"),
        (size("24", unit=Unit.INCH), size("24", unit=Unit.CENTIMETRE),
         "could be 2 4 in, or 2 4 cm: say it again, digit by digit"),
        (size("24", scale=Scale.GIRTH), size("24", scale=Scale.DIAMETER),
         "could be girth, or diameter: say it again"),
        (size("24"), size("24"), in_english.part(UNSURE)),
        (Meaning("tree", "109"), Meaning("tree", "190"),
         "could be tree 1 0 9, or tree 1 9 0: say it again, digit by digit"),
    ],
)  # fmt: skip
def test_only_what_parts_them_is_asked(first: Meaning, second: Meaning, asked: str) -> None:
    assert in_english.part(doubt(first, second)) == asked


@pytest.mark.parametrize("who", ["A.B.", "Z.Z."])
def test_whoever_comes_next_is_asked_about_the_tape(who: str) -> None:
    """Earlier or later in the alphabet."""
    one = Talk(survey(tree("1"), tree("2"), rules=Rules(walk=False)), who="M.O.")
    one.read("1", "90", scale=Scale.GIRTH)
    one.hear("accept")
    one.open("K2", who)
    assert "you said girth" in one.read("2", "91", scale=Scale.GIRTH)


def test_a_new_tag_is_forgotten_with_the_tree_that_is_let_go() -> None:
    one = Talk(survey(tree("83", "24.0"), tree("84"), rules=Rules(walk=False)))
    one.hear("retag", tag="83", new_tag="312")
    assert one.memory.lost_tags
    one.hear("scratch")
    assert not one.memory.lost_tags
