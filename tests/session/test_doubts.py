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


def size(value: str, kind: str = "reading", **more: object) -> Meaning:
    return Meaning(kind, "83", Decimal(value), **more)


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
        # What both have in common is never named; a kind only where nothing else is left.
        (Meaning("tree", "83"), size("24"), "tree 8 3 alone, or 2 4: DIGITS"),
        (size("24"), Meaning("tree", "83"), "2 4, or tree 8 3 alone: DIGITS"),
        (Meaning("confirm"), Meaning("tree", "83"), "yes, or tree 8 3: DIGITS"),
        (size("24"), size("24", "amend"), "its diameter, or correction: AGAIN"),
        (size("24", "new"), size("24"), "new tree, or its diameter: AGAIN"),
        (size("24", "size"), size("24"), "size, or its diameter: AGAIN"),
        (Meaning("size", value=Decimal(24)), size("24"), "size, or tree 8 3: DIGITS"),
        (Meaning("note", "83"), Meaning("tree", "83"), "note, or tree 8 3 alone: DIGITS"),
        (Meaning("undo", "83"), Meaning("tree", "83"), "undo, or tree 8 3 alone: DIGITS"),
        (Meaning("tree", "83"), Meaning("well", "83"), "tree 8 3 alone, or I am standing: DIGITS"),
        (Meaning("undo"), Meaning("repeat"), "undo, or repeat: AGAIN"),
        (Meaning("reading"), Meaning("tree"), "reading, or tree: AGAIN"),
        (Meaning("complete"), Meaning("size", value=Decimal(24)), "plot complete, or 2 4: DIGITS"),
        (Meaning("status", "83", status="missing"),
         Meaning("status", "83", status="dead standing"), "missing, or dead standing: AGAIN"),
        (Meaning("status", "83", status="missing"), Meaning("status", "84", status="missing"),
         "tree 8 3, or tree 8 4: DIGITS"),
        (Meaning("status", "83", status="missing"), size("24"), "missing, or 2 4: DIGITS"),
        (size("9", "new", species="ash"), size("9", "new", species="oak"), "ash, or oak: AGAIN"),
        (size("8", "new", species="oak"), size("9", "new", species="oak"), "8, or 9: DIGITS"),
        (size("24", "new", species="oak"), size("24", "new"), ""),
        (Meaning("retag", "83", new_tag="312"), Meaning("retag", "83", new_tag="313"),
         "new tag 3 1 2, or new tag 3 1 3: DIGITS"),
        (Meaning("retag", "83", new_tag="312"), Meaning("retag", "84", new_tag="312"),
         "tree 8 3, or tree 8 4: DIGITS"),
        (Meaning("height", height_m=Decimal("1.3")), Meaning("height", height_m=Decimal("1.4")),
         "1.3 metres, or 1.4 metres: DIGITS"),
        (size("24", height_m=Decimal("1.3")), size("25", height_m=Decimal("1.3")),
         "2 4, or 2 5: DIGITS"),
        (Meaning("new", "83"), size("24", "new"), "no diameter, or 2 4: DIGITS"),
        (size("24"), size("24", stem="two"), "no stem, or stem two: DIGITS"),
        (size("24", stem="two"), size("24"), "stem two, or no stem: DIGITS"),
        (size("24", stem="one"), size("24", stem="two"), "stem one, or stem two: DIGITS"),
        (size("24", stem="one"), size("25", stem="one"), "2 4, or 2 5: DIGITS"),
        (Meaning("note"), Meaning("note", "83"), ""),
        (size("24", scale=Scale.GIRTH), size("24"), ""),
        (size("24", scale=Scale.GIRTH), size("25", scale=Scale.GIRTH), "2 4, or 2 5: DIGITS"),
        (size("24.6", unit=Unit.INCH), size("24.5", unit=Unit.CENTIMETRE),
         "2 4 point 6 in, or 2 4 point 5 cm: DIGITS"),
        (size("24.6", unit=Unit.INCH), size("24.5"), "2 4 point 6 in, or 2 4 point 5: DIGITS"),
    ],
)  # fmt: skip
def test_only_what_parts_them_is_asked(first: Meaning, second: Meaning, asked: str) -> None:
    asked = asked.replace("DIGITS", "say it again, digit by digit").replace("AGAIN", "say it again")
    if not asked.startswith(("could be", in_english.part(UNSURE))):
        asked = f"could be {asked}" if asked else in_english.part(UNSURE)
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
