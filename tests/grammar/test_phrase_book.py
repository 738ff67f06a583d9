"""A phrase book's lines, by what they make of English; the book here and its words are invented."""

from __future__ import annotations

import pytest

from callout.core.errors import OperatorError
from callout.grammar.phrases import Phrases, read_phrases

BOOK = """
# a remark, and an empty line

voice: somebody
point : punto
Saved {what*+} => Gardé {what}
Saved => Tout gardé
Tree {tag} => Arbre {tag}
dead standing => sec debout
that is down {size} => moins {size}
{tag} stem {stem} => {tag} tige {stem}
{count} left: {list+} => reste {count}: {list}
Confirm => D'accord
a, b => les deux
a => un
b => deux
c, d, e, f => quatre
A long {x} of it => long {x}
A long {x} => court {x}
"""


@pytest.fixture(scope="module")
def book() -> Phrases:
    return read_phrases(BOOK)


@pytest.mark.parametrize(
    ("english", "turned"),
    [
        ("Tree 83.", "Arbre 83."),
        ("tree 83?", "Arbre 83?"),  # capitals do not matter
        ("Tree 83", "Arbre 83"),
        ("Tree 83. Confirm?", "Arbre 83. D'accord?"),
        ("Tree 83!  Confirm?!", "Arbre 83! D'accord?!"),
        ("Saved 83, 24.6, dead standing.", "Gardé 83, 24.6, sec debout."),
        ("Saved 83 stem 2, that is down 1.5.", "Gardé 83 tige 2, moins 1.5."),
        ("Saved.", "Tout gardé."),
        ("3 left: 61, 62, 63.", "reste 3: 61, 62, 63."),
        ("a, b", "les deux"), ("b, a", "deux, un"), ("a, a, b", "un, les deux"),
        ("x, a, b, y", "x, les deux, y"), ("b, b, b, b, b, b", ", ".join(["deux"] * 6)),
        ("c, d, e, f", "quatre"), ("a, c, d, e, f", "un, quatre"),
        ("x, c, d, e, f, a", "x, quatre, un"), ("c, d, e", "c, d, e"),
        ("A long way of it", "long way"), ("A long way", "court way"),
        ("Tree dead standing", "Arbre dead standing"),  # no star: as it stands
        ("Tree 83, dead standing", "Arbre 83, sec debout"),  # a slot ends with its part
        ("What nobody wrote down.", "What nobody wrote down."),
        ("  Tree 83.  ", "Arbre 83."),
        ("", ""),
    ],
)  # fmt: skip
def test_what_the_book_makes_of_it(book: Phrases, english: str, turned: str) -> None:
    assert book.shown(english) == turned


@pytest.mark.parametrize(
    ("line", "english"),
    [
        ("Tree {a} is {b} => {b} est {a}", "Tree 83 is 24.6"),  # the order of figures
        ("Tree {a} => Arbre {a} 7", "Tree 83"),  # another figure
        ("Tree 83 => Arbre", "Tree 83"),  # a figure lost
        ("Tree 83 => Arbre 84", "Tree 83"),
    ],
)
def test_words_that_would_change_a_figure_are_not_used(line: str, english: str) -> None:
    assert read_phrases(line).shown(english) == english


def test_decimals_are_spoken_with_the_language_s_point(book: Phrases) -> None:
    assert book.spoken("Tree 83, 24.65.") == "Arbre 83, 24 punto 6 5."
    assert book.spoken("24.6, 7.0 and 106.25") == "24 punto 6, 7 punto 0 and 106 punto 2 5"
    assert book.spoken("83. 24") == "83. 24"
    assert book.spoken("at 1.2.3") == "at 1.2.3", "no decimal"
    assert book.shown("Tree 83, 24.65.") == "Arbre 83, 24.65."
    without = read_phrases("Tree {tag} => Arbre {tag}")
    assert without.spoken("Tree 24.6") == "Arbre 24.6"


def test_the_settings_and_a_book_without_lines(book: Phrases) -> None:
    assert (book.voice, book.point) == ("somebody", "punto")
    empty = read_phrases("# nothing\n")
    assert empty == Phrases()
    assert (empty.voice, empty.point, empty.rules) == ("", "", ())
    assert empty.shown(" Tree  83. ") == " Tree  83. ", "untouched"
    assert read_phrases("voice: a => b").rules, "a line with an arrow is no setting"


def test_the_most_literal_line_is_taken_wherever_it_stands() -> None:
    lines = ("Tree {x} => A {x}", "Tree of {x} => B {x}")
    for text in ("\n".join(lines), "\n".join(reversed(lines))):
        assert read_phrases(text).shown("Tree of 83") == "B 83"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("Tree", "line 1: write English => words, not 'Tree'"),
        ("# remark\n\n  Tree =>  ", "line 3: write English => words, not 'Tree =>'"),
        ("=> Arbre", "line 1: write English => words"),
        ("colour: red", "line 1: write English => words"),
        ("Tree {a} => Arbre", "line 1: the same slots on both sides, each once"),
        ("Tree => Arbre {a}", "line 1: the same slots on both sides, each once"),
        ("Tree {a} {a} => Arbre {a} {a}", "line 1: the same slots on both sides, each once"),
        ("a => b\nTree {a} => Arbre {b}", "line 2: the same slots on both sides, each once"),
        ("Tree {a} => Arbre {a} {a}", "line 1: the same slots on both sides, each once"),
    ],
)
def test_a_line_that_is_wrong_is_told_with_its_number(text: str, told: str) -> None:
    with pytest.raises(OperatorError) as caught:
        read_phrases(text)
    assert told in str(caught.value)
