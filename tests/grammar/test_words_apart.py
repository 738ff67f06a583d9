"""Words taken apart and put to their meanings, with small invented grammars.

Written as one word, as Korean does, known words are split; what is said about several meanings,
or none, names them.
"""

from __future__ import annotations

from decimal import Decimal

import in_english
import pytest

from callout.core.errors import OperatorError
from callout.core.meaning import Meaning
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import parse_jsgf
from callout.grammar.language import read_language
from callout.grammar.parser import Parsed, choose, parse_words
from callout.grammar.scope import Scope
from callout.grammar.words import MAX_CHARACTERS, tokens_of

ANY = Scope()


def parsed(rules: str, text: str) -> Parsed:
    grammar = parse_jsgf(f"#JSGF V1.0 UTF-8 en;\ngrammar invented;\n{rules}")
    return parse_words(compile_grammar(grammar, "callout"), text, ANY)


def kinds(rules: str, text: str) -> list[str]:
    return [meaning.kind for meaning in parsed(rules, text).meanings]


# ---- written as one word ----

SYLLABLES = "public <callout> = {@tag} <d> [<d>] [<d>] {@kind:tree};\n"
SYLLABLES += "<d> = ka {1} | kata {2} | ta {3} | tari {4} | mu {5} | nok {6};"


def tags(text: str) -> set[str | None]:
    return {meaning.tag for meaning in parsed(SYLLABLES, text).meanings}


@pytest.mark.parametrize(
    ("text", "tag"),
    [
        ("ka mu", "15"), ("kamu", "15"), ("muka", "51"), ("kamuka", "151"), ("mumumu", "555"),
        ("kata", "2"),  # a word of its own is not split
        ("katamu", "25"),  # the longer one, where both would do
        ("mutari", "54"), ("tarimu", "45"), ("mu kamu", "515"), ("kamu mu", "155"),
        ("katari", "14"), ("mu", "5"), ("nok", "6"), ("nokmu", "65"), ("kanok", "16"),
        ("noknok", "66"), ("nokmunok", "656"), ("muNok", "56"),
    ],
)  # fmt: skip
def test_known_words_written_as_one_are_split(text: str, tag: str) -> None:
    assert tags(text) == {tag}


@pytest.mark.parametrize("text", ["kamux", "xkamu", "kaxmu", "k", "kamut", "mumumumu", "ta ri"])
def test_a_rest_makes_no_callout(text: str) -> None:
    found = parsed(SYLLABLES, text)
    assert (found.words, found.meanings) == (text, ())
    told = f"no callout in {text!r}: say tree, its tag, then the diameter"
    assert in_english.part(found.problem) == told


@pytest.mark.parametrize(
    ("figures", "word"), [("83", "NUMERAL"), ("24.6", "DECIMAL"), ("A12", "LABEL")]
)
def test_figures_are_never_split(figures: str, word: str) -> None:
    """What stands for figures is no written word, even where its letters are words."""
    letters = " | ".join(sorted(set(word)))
    rules = f"public <callout> = {'<l> ' * len(word)} {{@kind:spelt}};\n<l> = {letters};"
    assert tokens_of(figures)[0].word == word
    assert kinds(rules, figures) == []


# ---- commas ----


def test_a_comma_parts_where_the_grammar_has_one_and_is_passed_over_elsewhere() -> None:
    rules = "public <callout> = a , b {@kind:parted} | a b {@kind:joined};"
    assert kinds(rules, "a, b") == ["parted"]
    assert kinds(rules, "a b") == ["joined"]
    assert kinds(rules, ", a b") == ["joined"]
    assert kinds(rules, "a, b,") == ["joined"]


def test_a_hyphen_is_not_passed_over() -> None:
    rules = "public <callout> = a b {@kind:joined};"
    assert kinds(rules, "a-b") == []
    assert kinds(rules, "a - b") == ["joined"], "a dash counts as a comma"


# ---- text that is no words ----


def test_the_longest_callout_and_one_longer() -> None:
    assert len(tokens_of("a" * MAX_CHARACTERS)) == 1
    with pytest.raises(OperatorError) as caught:
        tokens_of("a" * (MAX_CHARACTERS + 1))
    assert "a callout of 301 characters is too long" in in_english.part(caught.value)


def test_what_cannot_be_read_is_quoted_from_there_and_not_all_of_it() -> None:
    with pytest.raises(OperatorError) as caught:
        tokens_of("tree 83 €2345678901234")
    assert "cannot read '€23456789012'" in in_english.part(caught.value)


@pytest.mark.parametrize(
    ("text", "tokens"),
    [
        ("Tree 83, 24.6", ["tree", "NUMERAL", ",", "DECIMAL"]),
        ("83; 24.6!", ["NUMERAL", "DECIMAL"]),
        ("one\ttwo\nthree…", ["one", "two", "three"]),
        ("24in", ["NUMERAL", "in"]),
        ('24.5"', ["DECIMAL", '"']),
        ("a12", ["LABEL"]), ("12b", ["LABEL"]), ("abc1", ["LABEL"]),
        ("what’s left", ["what's", "left"]),
        ("eighty-three", ["eighty", "-", "three"]),
        ("eighty - three", ["eighty", ",", "three"]),
        ("83-24.6", ["NUMERAL", ",", "DECIMAL"]),
        ("- a", [",", "a"]),
    ],
)  # fmt: skip
def test_tokens(text: str, tokens: list[str]) -> None:
    assert [token.word for token in tokens_of(text)] == tokens


def test_figures_keep_their_text_and_labels_are_upper_case() -> None:
    assert [token.text for token in tokens_of("Tree a12 007 24.60cm")] == [
        "tree", "A12", "007", "24.60", "cm",
    ]  # fmt: skip


# ---- several meanings, or none that fits ----


def reading(tag: str, value: str, **more: object) -> Meaning:
    return Meaning("reading", tag, Decimal(value), **more)  # type: ignore[arg-type]


SMALL = Scope(frozenset({"83", "84"}), Decimal(1), Decimal(60))


def test_one_that_fits_is_taken_and_two_are_told() -> None:
    one, other, out = reading("83", "24.6"), reading("84", "6"), reading("8", "324.6")
    assert choose("w", (one, out), SMALL) == Parsed("w", (one,), None)
    both = choose("w", (one, out, other), SMALL)
    assert both.meanings == (one, other)
    assert in_english.part(both.problem) == (
        "could be tree 83 diameter 24.6, or tree 84 diameter 6: say 'diameter' between them"
    )


def test_where_none_fits_one_is_left_to_the_checks_and_several_are_told() -> None:
    out, further = reading("99", "24.6"), reading("9", "924.6")
    assert choose("w", (out,), SMALL) == Parsed("w", (out,), None)
    none = choose("w", (out, further), SMALL)
    assert none.meanings == (out, further)
    assert in_english.part(none.problem) == (
        "nothing in this plot fits: tree 99 diameter 24.6, or tree 9 diameter 924.6?"
    )


def test_what_is_told_of_a_meaning() -> None:
    many = (
        reading("83", "1.5", stem="2"),
        Meaning("status", "84", status="dead_standing"),
        Meaning("size", value=Decimal("7.5")),
        Meaning("confirm"),
        reading("84", "60"),
    )
    told = in_english.part(choose("w", many, SMALL).problem)
    assert told == (
        "could be tree 83 stem 2 diameter 1.5, or tree 84 dead standing, or diameter 7.5, "
        "or yes: say 'diameter' between them"
    ), "four are named"


# ---- a survey's language ----

GRAMMAR = """#JSGF V1.0 UTF-8 en;
grammar invented;
public <callout> = new <d> [{@species} <species>] {@kind:new} | <written_d> {@kind:typed};
<d> = {@new} one {1};
<written_d> = NUMERAL | one cm;
<species> = <VOID>;
"""


def test_species_are_said_as_words_and_written_as_the_roster_has_them() -> None:
    names = ("Red Oak", "beech", "beech", "Jacob's rod", "x 1", "", "oak-leaf", "  ")
    language = read_language("en", GRAMMAR, species=names)
    told = {
        words: [item.species for item in parse_words(language.full, words, ANY).meanings]
        for words in ("new one red oak", "new one beech", "new one jacob's rod", "new one",
                      "new one x", "new one oak")
    }  # fmt: skip
    assert told == {
        "new one red oak": ["Red Oak"], "new one beech": ["beech"],
        "new one jacob's rod": ["Jacob's rod"], "new one": [None],
        "new one x": [], "new one oak": [],
    }  # fmt: skip


def test_a_grammar_without_species_needs_none() -> None:
    text = GRAMMAR.replace("<species> = <VOID>;", "").replace("[{@species} <species>]", "")
    language = read_language("en", text, species=("beech",))
    assert language.full.words == {"new", "one", "NUMERAL", "cm"}


def test_what_is_only_written_cannot_be_said() -> None:
    """ "one" stands in a rule for the keyboard and in one that is spoken as well."""
    language = read_language("en", GRAMMAR)
    assert language.spoken.words == {"new", "one"}
    assert language.full.words == {"new", "one", "NUMERAL", "cm"}


@pytest.mark.parametrize("part", ["[cm]", "(cm | mm)", "cm {x}", "[a [cm]]", "a | b cm"])
def test_however_deep_a_written_word_stands(part: str) -> None:
    text = GRAMMAR.replace("one cm", part)
    assert language_words(text) == {"new", "one"}


def language_words(text: str) -> frozenset[str]:
    return read_language("en", text).spoken.words


def test_pronunciations_are_words_and_phones() -> None:
    language = read_language("en", GRAMMAR, "one W AH N\n\n  two   T UW \n")
    assert language.pronunciations == {"one": "W AH N", "two": "T UW"}
    assert read_language("en", GRAMMAR).pronunciations == {}


@pytest.mark.parametrize(("text", "line"), [("one", 1), ("one W AH N\n\ntwo", 3)])
def test_a_word_without_phones_is_told_with_its_line(text: str, line: int) -> None:
    word = text.split()[-1]
    with pytest.raises(OperatorError, match=f"dictionary line {line}: '{word}' has no phones"):
        read_language("en", GRAMMAR, text)


def test_the_language_knows_its_code() -> None:
    assert read_language("xx", GRAMMAR).code == "xx"
