"""Lines that people type, with free words in them: understood, or told what is missing.

Invented.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchmarks.as_people_say import SPECIES, invented_survey
from callout.core.meaning import Meaning
from callout.station.data import load_language
from callout.station.scopes import scope_of
from callout.station.typed_words import typed_line

PLOT = invented_survey().plots["alder bottom"]
LANGUAGE = load_language("en", SPECIES, tuple(invented_survey().plots))


def meant(line: str) -> Meaning | None:
    parsed = typed_line(LANGUAGE, line, scope_of(PLOT), notes=False)
    return parsed.meanings[0] if parsed.problem is None and len(parsed.meanings) == 1 else None


@pytest.mark.parametrize(
    "line, tag, text",
    [
        ("note 108 big fork", "108", "big fork"),
        ("note on tree 108: leans", "108", "leans"),
        ("108 note big fork", "108", "big fork"),
        ("note: 3 stems", None, "3 stems"),
        ("note bark beetle", None, "bark beetle"),
    ],
)
def test_whose_note_it_is(line: str, tag: str | None, text: str) -> None:
    assert meant(line) == Meaning("note", tag, text=text)


@pytest.mark.parametrize(
    "line, value, species",
    [
        ("new tree 141 wild service 8.1", "8.1", "wild service"),
        ("new tree 141 8.1 wild service", "8.1", "wild service"),
        ("new tree 141 wild service-tree, 8.1", "8.1", "wild service-tree"),
        ("new tree 141 wild service", None, "wild service"),
    ],
)
def test_a_new_tree_of_a_species_that_the_survey_lacks(line, value, species) -> None:
    size = Decimal(value) if value else None
    assert meant(line) == Meaning("new", "141", size, species=species)


@pytest.mark.parametrize("line", ["new tree 141 wibble dead 8.1", "tree 61 wibble 8.1"])
def test_what_may_mean_something_else_is_no_name(line: str) -> None:
    assert meant(line) is None


def test_a_tag_typed_figure_by_figure() -> None:
    assert meant("tree 1 0 4") == Meaning("tree", "104")
    assert meant("1 0 4 8.4") == Meaning("reading", "104", Decimal("8.4"))
    assert meant("2 0 4 dead") == Meaning("status", "204", status="dead_standing")
    assert meant("1 5") == Meaning("reading", "1", Decimal(5))
    assert meant("1 0 4 8") is None, "104 and 8, or a tag of four figures"
    assert meant("9 9 9 8.4") is None, "no tree of the plot"


def test_a_species_told_of_a_tree_by_any_name() -> None:
    assert meant("107 should be wild service") == Meaning("species", "107", species="wild service")
    assert meant("107 should be beech") == Meaning("species", "107", species="beech")
    assert meant("107 should be dead") == Meaning("status", "107", status="dead_standing")


@pytest.mark.parametrize(
    ("roster", "line"),
    [
        ("ACRU", "new tree 141 red maple 8.1"),
        ("Acer rubrum", "new tree 141 red maple 8.1"),
        ("316", "new tree 141 red maple 8.1"),
        ("ACRU", "new tree 141 acru 8.1"),
        ("Douglas-fir", "new tree 141 douglas fir 8.1"),
    ],
)
def test_a_species_goes_by_its_common_name_too(roster, line):
    """Codes and numbers of the national reference list, public copies; the roster's name stays."""
    found = typed_line(load_language("en", (roster,)), line, scope_of(PLOT), notes=False)
    assert [(one.kind, one.species) for one in found.meanings] == [("new", roster)]


def test_a_common_name_of_two_on_the_roster_is_its_own():
    language = load_language("en", ("ACRU", "red maple"))
    found = typed_line(language, "new tree 141 red maple 8.1", scope_of(PLOT), notes=False)
    assert [one.species for one in found.meanings] == ["red maple"]
