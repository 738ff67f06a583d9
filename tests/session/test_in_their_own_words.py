"""A new tree's species corrected after its save, one tree let go by its tag, a size that was

converted, and notes and names in the measurer's own words. Plots are invented.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import in_english
import pytest
from session_tools import Talk, replayed, survey, tree

from callout.core.checking.checks import Rules
from callout.core.meaning import Meaning
from callout.core.units import Unit
from callout.grammar.parser import parse_words
from callout.grammar.scope import Scope
from callout.session.phase import Phase
from callout.station.data import load_language
from callout.station.typed_words import typed_line

SCOPE = Scope(tags=frozenset({"16", "61", "62", "83"}), smallest=Decimal(1), largest=Decimal(150))


@pytest.fixture(scope="module")
def language():
    return load_language("en", ("beech", "sugar maple"), ("K2",))


# ---- a species after its save ----


def day(edition: int = 4) -> Talk:
    rules = Rules(walk=False, accept_word=False, edition=edition)
    return Talk(survey(tree("61", "24.0"), rules=rules))


def test_a_new_trees_species_is_corrected_after_its_save_by_an_entry_that_supersedes():
    one = day()
    one.hear("new", tag="417", value=Decimal("12.2"), species="beech")
    one.hear("accept")
    first = one.saved
    told = one.hear("species", species="wild service")
    assert told.startswith("417 again: new, wild service, 12.2") or "wild service" in told
    assert "Confirm?" in told or "accept" in told.lower()
    one.hear("accept")
    assert (one.saved.species, one.saved.value, one.saved.supersedes) == (
        "wild service", Decimal("12.2"), first.entry,
    )  # fmt: skip
    assert one.saved.is_new
    assert replayed(one.survey, one.events) == one.memory


def test_by_its_tag_too_once_another_tree_was_saved():
    one = day()
    one.hear("new", tag="417", value=Decimal("12.2"), species="beech")
    one.hear("accept")
    one.save("61", "24.3")
    one.hear("species", tag="417", species="oak")
    assert one.memory.pending is not None
    assert (one.memory.pending.draft.tag, one.memory.pending.draft.species) == ("417", "oak")


def test_the_rosters_species_stand_and_the_third_edition_is_followed():
    one = day()
    one.save("61", "24.3")
    assert "new tree alone" in one.hear("species", species="oak")
    assert one.memory.pending is None
    assert "its name" in one.hear("species")
    before = day(edition=3)
    before.hear("new", tag="417", value=Decimal("12.2"), species="beech")
    before.hear("accept")
    assert "new tree alone" in before.hear("species", species="oak")
    assert before.memory.pending is None


# ---- one tree let go by its tag ----


def test_another_tree_than_that_which_waits_lets_nothing_go():
    one = day()
    assert one.hear("scratch", tag="12").startswith("Nothing of tree 12 waits")
    one.read("61", "24.3")
    waits = one.memory.pending
    assert one.hear("scratch", tag="12").startswith("Nothing of tree 12 waits")
    assert one.memory.pending == waits
    one.hear("scratch", tag="61")
    assert (one.memory.pending, one.memory.phase) == (None, Phase.IDLE)


# ---- the plot's own unit is no wrong unit ----


@pytest.mark.parametrize(
    ("unit", "value", "looks"),
    [(Unit.CENTIMETRE, "40.9", "converted from inches"), (Unit.INCH, "16.1", "centimetres")],
)
def test_a_wrong_unit_is_never_the_plots_own(unit: Unit, value: str, looks: str):
    made = survey(tree("16", "16.1"))
    plot = made.plots["K2"]
    settings = replace(plot.settings, unit=unit)
    one = Talk(replace(made, plots={"K2": replace(plot, settings=settings)}))
    told = one.read("16", value)
    assert looks in told, told
    if unit is Unit.CENTIMETRE:
        assert "looks like centimetres" not in told


# ---- in their own words ----


@pytest.mark.parametrize(
    ("line", "kind", "tag", "words"),
    [
        ("note: leans over the path", "note", None, "leans over the path"),
        ("note - fork at 2 m, bark off", "note", None, "fork at 2 m, bark off"),
        ("83 note: hollow, bats?", "note", "83", "hollow, bats?"),
        ("tree 83 note bark beetle", "note", "83", "bark beetle"),
        ("species wild service", "species", None, "wild service"),
        ("Species: Quercus × rosacea", "species", None, "Quercus × rosacea"),
        ("83 species St. Lucie cherry", "species", "83", "St. Lucie cherry"),
    ],
)
def test_free_words_after_the_word_for_them(language, line, kind, tag, words):
    (meaning,) = typed_line(language, line, SCOPE, notes=False).meanings
    assert (meaning.kind, meaning.tag, meaning.text or meaning.species) == (kind, tag, words)


@pytest.mark.parametrize(
    ("line", "kind", "parts"),
    [
        ("메모: 기울어짐", "note", {"text": "기울어짐"}),
        ("83번 메모: 껍질 벗겨짐", "note", {"tag": "83", "text": "껍질 벗겨짐"}),
        ("수종 산벚나무", "species", {"species": "산벚나무"}),
        ("약 9.2", "size", {"value": Decimal("9.2")}),
        ("약 구 점 이", "size", {"value": Decimal("9.2")}),
        ("아니 십일 점 삼", "amend", {"value": Decimal("11.3")}),
        ("나무 육십일 번 취소", "scratch", {"tag": "61"}),
        ("다시 말해 주세요", "repeat", {}),
        ("몇 그루 남았어", "left", {}),
        ("잠시 멈춤", "pause", {}),
        ("다시 시작", "resume", {}),
    ],
)
def test_korean_has_them_too(line, kind, parts):
    """From memory, and not read by Korean crews; the recogniser listens for none of them."""
    korean = load_language("ko", ("소나무",))
    (meaning,) = typed_line(korean, line, SCOPE, notes=False).meanings
    assert meaning == replace(Meaning(kind), **parts)
    if not any(map(str.isdigit, line)):
        assert parse_words(korean.spoken, line, SCOPE).meanings == ()


@pytest.mark.parametrize("line", ["notes: 4", "note:", "species 12", "species =1+1", "83 noted x"])
def test_what_is_no_note_and_no_name(language, line):
    meanings = typed_line(language, line, SCOPE, notes=False).meanings
    assert not [one for one in meanings if one.text or one.species]


def test_a_note_leaves_a_reading_waiting(tmp_path: Path):
    one = day()
    one.read("61", "24.3")
    told = one.hear("note", text="leans")
    assert told.startswith("Note about tree 61: leans")
    assert "Still waiting" in one.hear("confirm")
    assert one.memory.phase is Phase.PENDING


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("61 .5", "Could be tree 61 diameter 0.5, or diameter 61.5: say 'diameter' between them."),
        ("61 19?", "Cannot read '9?': write a size without a question mark."),
    ],
)
def test_what_is_written_in_doubt_is_asked_about(language, line, problem):
    told = typed_line(language, line, replace(SCOPE, smallest=Decimal("0.1")), notes=False).problem
    assert told is not None and in_english.told(told) == problem


def test_a_point_apart_where_no_tree_is_so_large(language):
    small = replace(SCOPE, smallest=Decimal("0.1"), largest=Decimal(50))
    (meaning,) = parse_words(language.full, "61 .5", small).meanings
    assert (meaning.tag, meaning.value) == ("61", Decimal("0.5"))


@pytest.mark.parametrize(
    "words",
    ["about nineteen", "roughly nineteen", "call it", "a bit over nineteen", "scratch tree",
     "a new tree", "right sixty two nineteen three it's", "somebody cut", "looks like"],
)  # fmt: skip
def test_a_guess_or_a_beginning_is_no_callout(language, words):
    assert parse_words(language.full, words, SCOPE).meanings == ()


@pytest.mark.parametrize("words", ["please", "about nine point two", "looks like tree sixty two"])
def test_nobody_listens_for_what_is_typed(language, words):
    assert parse_words(language.spoken, words, SCOPE).meanings == ()
