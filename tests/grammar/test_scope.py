"""Narrowing: what a recogniser may hear in one plot, against what fits that plot."""

from __future__ import annotations

from decimal import Decimal

import in_english
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spoken_forms import numerals, size_forms, tag_forms
from test_nothing_unsaid import ENGLISH, REPAIRS, walk

from callout.core.meaning import Meaning
from callout.core.units import Scale, Unit
from callout.grammar.automaton import Automaton, narrowed
from callout.grammar.language import read_language
from callout.grammar.parser import meanings_of
from callout.grammar.scope import Scope, ScopeWatcher, narrowed_to
from callout.grammar.words import tokens_of

K2 = frozenset({"8", "40", "80", "83", "84", "106", "112", "1020"})  # invented
SCOPES = (
    Scope(K2, Decimal(1), Decimal(200), Unit.CENTIMETRE),
    Scope(frozenset({"7", "83", "831"}), Decimal("0.5"), Decimal("78.5"), Unit.INCH, False),
    Scope(None, Decimal(1), Decimal(60)),
    Scope(frozenset(), Decimal(1), Decimal(60), Unit.CENTIMETRE),
)
PI_7 = Decimal("3.1415927")  # from memory
TO_CENTIMETRES = {"in": Decimal("2.54"), "cm": Decimal(1), "mm": Decimal("0.1")}


@pytest.fixture(scope="module")
def spoken() -> Automaton:
    return read_language("en", ENGLISH.read_text(encoding="utf-8")).spoken


@pytest.fixture(scope="module")
def narrow(spoken) -> dict[int, Automaton]:
    return {id(scope): narrowed_to(spoken, scope) for scope in SCOPES}


def as_spoken(words: str) -> str:
    """A recogniser's words hold no hyphen and no comma."""
    return words.replace("-", " ").replace(",", "")


@pytest.fixture(scope="module")
def meanings(spoken, narrow):
    """``meanings(words, scope=None)``: of the whole spoken language, or of one plot's part."""

    def told(words: str, scope: Scope | None = None) -> set[Meaning]:
        automaton = spoken if scope is None else narrow[id(scope)]
        return set(meanings_of(automaton, tokens_of(as_spoken(words))))

    return told


@pytest.fixture(scope="module")
def walked(spoken, narrow):
    def words(start, scope: Scope | None = None) -> str:
        return " ".join(walk(spoken if scope is None else narrow[id(scope)], start))

    return words


def centimetres(value: Decimal, unit: Unit) -> Decimal:
    return value * TO_CENTIMETRES[unit.value]


def fits(meaning: Meaning, scope: Scope, beyond: Decimal = Decimal(0)) -> bool:
    """The rule told again in plain terms: a tag of the plot (or a new one), a size in its range."""
    if meaning.tag is not None and scope.tags is not None:
        announced = meaning.kind == "new"
        if (meaning.tag in scope.tags) == announced:
            return False
    if meaning.value is None:
        return True
    if meaning.implied and not scope.implied_point:
        return False
    value, low, high = meaning.value, scope.smallest, scope.largest + beyond
    if meaning.scale is Scale.GIRTH:  # these plots are measured by diameter
        value = value / PI_7
    if meaning.unit is not None and scope.unit is not None:
        value = centimetres(value, meaning.unit)
        low, high = centimetres(low, scope.unit), centimetres(high, scope.unit)
    return low <= value <= high


starts = st.tuples(st.integers(0, 10**9), st.sampled_from(["", "tree", "tag", "new"]))
scopes = st.sampled_from(SCOPES)


@pytest.mark.parametrize("scope", [SCOPES[1], Scope()], ids=["inches", "up to 200"])
def test_sizes_that_end_alike_are_one_and_nothing_else_changes(spoken, scope):
    """As when each is followed by itself; "oh, two, double zero" is 200, of four figures."""

    class Apart(ScopeWatcher):
        def _room(self, whole: str) -> tuple[int, ...]:
            return len(whole), int(whole or "0")

    assert narrowed(spoken, Apart(scope)) == narrowed_to(spoken, scope)


@settings(max_examples=700, deadline=None)
@given(starts, scopes)
def test_whatever_fits_can_be_heard(walked, meanings, start, scope):
    """Else a recogniser would be forced to hear something else instead."""
    words = walked(start)
    heard = meanings(words, scope)
    for meaning in meanings(words):
        assert scope.fits(meaning) == fits(meaning, scope)
        # What is taken back mid-sentence must itself be sayable in the plot: a known limit.
        taken_back = any(f" {phrase} " in words for phrase in REPAIRS)
        if fits(meaning, scope) and not taken_back:
            assert meaning in heard, words


@settings(max_examples=700, deadline=None)
@given(starts, scopes)
def test_nothing_else_can_be_heard(meanings, walked, start, scope):
    """Walks of the narrowed language: its tags are the plot's, its sizes at most the largest.

    Sizes are cut at whole units, and the smallest is left to the checks; a new tree's tag is free.
    """
    words = walked(start, scope)
    assert meanings(words, scope), words
    for meaning in meanings(words, scope):
        if scope.tags is not None and meaning.tag is not None and meaning.kind != "new":
            assert meaning.tag in scope.tags, words
        if meaning.value is not None:
            room = Decimal(1)
            whole = meaning.value.to_integral_value("ROUND_FLOOR")
            limit = scope.largest
            if meaning.unit is not None and scope.unit is not None:
                whole, limit = centimetres(whole, meaning.unit), centimetres(limit, scope.unit)
                room = centimetres(room, meaning.unit)
            if meaning.scale is Scale.GIRTH:  # these plots are measured by diameter
                limit = limit * PI_7
            assert whole <= limit + room, words
        assert not meaning.implied or scope.implied_point


def test_every_tag_of_a_plot_is_heard_and_no_other(meanings):
    scope = SCOPES[0]
    for tag in range(1, 1000):
        for said in tag_forms(tag):
            heard = meanings(f"tree {said} diameter twenty-four point six", scope)
            assert bool(heard) == (str(tag) in K2), said


@pytest.mark.parametrize("largest", ["60", "60.5", "199.9"])
def test_every_size_of_a_range_is_heard(spoken, largest):
    scope = Scope(K2, Decimal(1), Decimal(largest), Unit.CENTIMETRE)
    narrow = narrowed_to(spoken, scope)
    for tenths in range(10, 1000, 3):
        size = Decimal(tenths) / 10
        for said in size_forms(size):
            heard = meanings_of(narrow, tokens_of(as_spoken(f"tree eighty-three diameter {said}")))
            assert bool(heard) == (int(size) <= int(Decimal(largest))), said


@pytest.mark.parametrize(
    ("words", "heard"),
    [
        ("sixty three point five", True),
        ("one hundred and ninety nine point five", True),
        ("two hundred and one", False),
        ("six hundred and thirty five millimetres", True),  # 63.5 cm
        ("six hundred and thirty five point five millimetres", True),
        ("six hundred and thirty five", False),
        ("six hundred and thirty five point five", False),
        ("twenty five inches", True),
        ("ninety inches", False),  # 228.6 cm
        ("ninety point five inches", False),
        ("ninety point five", True),
        ("six three five point, no wait, sixty-three point five", True),
    ],
)
def test_a_unit_moves_the_limit(meanings, words, heard):
    assert bool(meanings(f"tree eighty-three diameter {words}", SCOPES[0])) == heard


def test_a_known_tag_can_still_be_announced_as_new_and_is_told(parse, meanings):
    """The recogniser hears it; that the tag is in use is then said by the checks."""
    words = "new tree eighty-three, twelve point three"
    assert meanings(words, SCOPES[0])
    assert [m.tag for m in parse(words, set(K2)).meanings] == ["83"]
    assert not SCOPES[0].fits(next(iter(meanings(words))))


def test_an_empty_plot_hears_only_new_trees(meanings):
    empty = SCOPES[3]
    assert not meanings("tree eighty-three diameter twelve", empty)
    assert meanings("new tree eighty-three diameter twelve", empty)
    assert meanings("confirm", empty)


def test_what_is_only_written_is_not_listened_for(spoken):
    assert not spoken.words & {"NUMERAL", "DECIMAL", "LABEL", ",", "-", '"', "cm"}
    assert {"tree", "point", "confirm", "hundred"} <= spoken.words


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 999), st.sets(st.integers(1, 999), max_size=5), st.randoms())
def test_the_roster_decides_only_where_exactly_one_meaning_fits(parse, tag, others, chance):
    size = Decimal(chance.randrange(10, 1000)) / 10
    words = f"tree {chance.choice(list(tag_forms(tag)))} {chance.choice(size_forms(size))}"
    possible = parse(words).meanings
    tags = {str(tag), *(str(other) for other in others)}
    if chance.random() < 0.5:
        tags |= {str(item.tag) for item in possible}
    parsed = parse(words, tags)
    fitting = [item for item in possible if item.tag in tags]
    if len(fitting) == 1:
        assert parsed.meanings == tuple(fitting)
        assert parsed.problem is None
    elif fitting:
        assert set(parsed.meanings) == set(fitting)
        assert "could be" in in_english.part(parsed.problem)
    else:
        assert set(parsed.meanings) == set(possible)
        assert (parsed.problem is None) == (len(possible) == 1)


def test_species_of_the_survey_are_heard_with_a_new_tree():
    names = ("beech", "field maple", "wild service-tree")
    language = read_language("en", ENGLISH.read_text(encoding="utf-8"), species=names)
    for species in ("beech", "field maple"):
        for joint in (" diameter ", " is "):
            words = f"new tree two hundred and one {species}{joint}{next(numerals(Decimal('9.4')))}"
            (meaning,) = meanings_of(language.full, tokens_of(words))
            assert (meaning.kind, meaning.tag, meaning.species) == ("new", "201", species)
            assert meaning.value == Decimal("9.4")
