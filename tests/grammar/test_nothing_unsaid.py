"""Properties: no meaning holds figures that the words do not, and no text breaks the parser."""

from __future__ import annotations

import contextlib
import random
import re
import time
from decimal import Decimal
from itertools import permutations
from pathlib import Path

import figures_said
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spoken_forms import ALL_SIZES, size_forms, tag_forms

from callout.core.errors import OperatorError
from callout.core.meaning import Meaning
from callout.core.units import Unit
from callout.grammar.automaton import Automaton

ENGLISH = Path(__file__).parents[2] / "grammars" / "en.jsgf"
WORDS_OF_FIGURES = {
    *figures_said.UNITS, *figures_said.TEENS, *figures_said.TENS, *figures_said.JOINING,
    *figures_said.PARTS, "hundred", "thousand", "double", "triple", "point", "decimal", "dot", "a",
    "an",
}  # fmt: skip
REPAIRS = ("no wait", "wait no", "sorry", "no sorry", "i mean", "make that", "correction")
MORE_REPAIRS = (
    "no", "nope", "nah", "n", "wait", "oops", "whoops", "actually", "rather", "wrong", "hang on",
    "hold on", "make it", "i meant", "i said", "scratch that", "strike that", "should be",
    "should read", "should say", "should have been", "my mistake",
)  # fmt: skip
# What opens a callout, or takes something back, and may have a figure of its own behind it.
MAY_BE_TALK = ("next one", "wrong one", "oh scratch")
# Words that hold a figure and say none.
TALK = (
    "take a break",
    "take five",
    "a minute",
    "a second",
    "a moment",
    "a sec",
    "one minute",
    "one second",
    "one moment",
    "one sec",
    "a bit",
    "a while",
    "that's the one",
    "never mind that one",
    "nevermind that one",
    "a new one",
    "one more time",
    "a new tree",
    "drop that one",
    "forget that one",
    "scratch that one",
    "delete that one",
    "scrap that one",
    "to that one",
    "skip that one",
    "leave that one",
    "undo that one",
    "take that one",
    "not that one",
    "mind that one",
    "previous one",
    "old one",
    "what one",
    "it one back",
    "this one",
    "last one",
    "which one",
    "look at one",
)
UNIT_WORDS = {
    "in": {"inch", "inches", "in", '"'},
    "cm": {"centimetre", "centimetres", "centimeter", "centimeters", "cm"},
    "mm": {"millimetre", "millimetres", "millimeter", "millimeters", "mm"},
}
starts = st.tuples(
    st.integers(0, 10**9), st.sampled_from(["", "tree", "tag", "number", "new", "NUMERAL"])
)


def walk(automaton: Automaton, start: tuple[int, str]) -> list[str]:
    """Words of a callout that the grammar accepts; every word that may come is as likely."""
    chance, first = random.Random(start[0]), start[1]
    state, words = automaton.start, []
    while automaton.ways[state] and not (state in automaton.finals and chance.random() < 0.2):
        leaving = automaton.leaving[state]
        word = first if first in leaving and not words else chance.choice(sorted(leaving))
        _, _, state = chance.choice(leaving[word])
        written = {
            "NUMERAL": str(chance.randrange(1000)),
            "DECIMAL": f"{chance.randrange(200)}.{chance.randrange(100)}",
            "LABEL": f"A{chance.randrange(100)}",
            "FRACTION": f"{chance.randrange(1, 8)}/8",
        }
        words.append(written.get(word, word))
    return words


@pytest.fixture(scope="session")
def walked(english):
    """The automaton stays out of the tests' arguments: printed it fills a book."""
    return lambda start: walk(english, start)


def said_apart(words: tuple[str, ...], tag: str, value: str, implied: bool) -> bool:
    """Whether some run of the words spells the tag, and a later run the value; or in turn."""
    parts = (tag, False), (value.replace(".", "") if implied else value, implied)
    return any(
        ends_with_run(words[:cut], *first) and ends_with_run(words[cut:], *second)
        for first, second in (parts, parts[::-1] if size_first(words) else parts)
        for cut in range(len(words) + 1)
    )


def ends_with_run(words: tuple[str, ...], figures: str, without_point: bool) -> bool:
    if not figures:
        return True
    return any(
        figures in {item.replace(".", "") if without_point else item.rstrip(".") for item in spelt}
        for start in range(len(words))
        for end in range(start + 1, min(len(words), start + 12) + 1)
        if (spelt := figures_said.spelt(words[start:end]))
    )


def _height_said(meaning: Meaning) -> Decimal:
    """In the unit in which it was said: a foot is 0.3048 m (1959 agreement)."""
    assert meaning.height_m is not None
    return meaning.height_m / Decimal("0.3048") if meaning.height_unit else meaning.height_m


STATUS_WORDS = {
    "live": ("live", "living"),
    "dead_standing": ("dead", "snag", "died"),
    "dead_down": (
        "down", "fallen", "fell", "ground", "blown", "blew", "lying", "laying", "tipped", "knocked",
        "uprooted",
    ),
    "cut": ("cut", "felled", "harvested", "logged", "removed", "stump", "took"),
    "missing": ("missing", "gone"),
    "not_found": ("found", "find", "see", "no sign", "exist", "here", "there"),
}  # fmt: skip
NTH = {"first": "one", "second": "two", "third": "three", "fourth": "four", "fifth": "five"}


def taken_back(plain: tuple[str, ...]) -> bool:
    said = f" {' '.join(plain)} ".replace(" ,", "")
    return any(f" {repair} " in said for repair in (*REPAIRS, *MORE_REPAIRS, "not"))


def without_talk(
    plain: tuple[str, ...], meaning: Meaning, also: tuple[str, ...]
) -> tuple[str, ...]:
    said = f" {' '.join(plain)} "
    said = re.sub(r" an? (?=(stump|tag|breast|dbh|d b h|diameter|new|ingrowth|snag) )", " ", said)
    for nth, stem in NTH.items():
        said = re.sub(rf" {nth} (?=stem|trunk)", f" {stem} ", said)
    for talk in (*TALK, *also):  # "scratch that, one hundred" says a figure
        if talk == "scratch that one" and meaning.kind != "scratch":
            continue  # "scratch that: one" says another
        said = re.sub(rf" {talk} (?!hundred|thousand|point)", " ", said)
    return tuple(said.split())


def size_first(plain: tuple[str, ...]) -> bool:
    """Whether the tag may come last: "nineteen three on sixty one"; or the stem first."""
    return bool({"on", "for", "of", "not"} & set(plain))


def check(words: list[str], meaning: Meaning, talk: tuple[str, ...] = MAY_BE_TALK) -> None:
    """The words' own figures, in order, must give the tag and then the value."""
    plain = without_talk(tuple(word.lower() for word in words), meaning, talk)
    tag = meaning.tag or ""
    value = "" if meaning.value is None else f"{meaning.value:f}"
    if tag.startswith("A"):
        assert tag.lower() in plain
        tag = ""
    assert said_apart(plain, tag, value, meaning.implied), (words, meaning)
    if meaning.unit is not None:
        assert UNIT_WORDS[meaning.unit.value] & set(plain)
    elif not taken_back(plain):
        assert not set(plain) & (UNIT_WORDS["cm"] | UNIT_WORDS["mm"]) or meaning.value is None
    if meaning.status is not None:
        assert any(word in " ".join(plain) for word in STATUS_WORDS[meaning.status])
    if meaning.height_m is not None:
        assert ends_with_run(plain, f"{_height_said(meaning):f}", False)
    if taken_back(plain):
        return
    # Nothing was taken back, so every figure said stands in the tag or the value: none is lost.
    figures = tuple(
        w for w in plain if w in WORDS_OF_FIGURES or re.fullmatch(r"[0-9.]+|[0-9]+/[0-9]+", w)
    )
    height = f"{_height_said(meaning):f}" if meaning.height_m is not None else ""
    others = [meaning.new_tag or "", meaning.not_tag or ""]
    for label in [other for other in others if other.startswith("A")]:
        assert label.lower() in plain
        others[others.index(label)] = ""
    parts = (tag, meaning.stem or "", value, height, *others)
    whole = "".join(parts).replace(".", "")
    orders = permutations(parts) if size_first(plain) else (parts,)
    wholes = {"".join(order).replace(".", "") for order in orders}
    if not whole:
        assert set(figures) <= figures_said.JOINING | {"a"}, (words, meaning)
        return
    said = {item.replace(".", "") for item in figures_said.spelt(figures)}
    assert wholes & said, (words, meaning)


def check_without_stray_marks(words: list[str], meaning: Meaning) -> None:
    """A comma out of place parts nothing: the callout is then read as if it were not there."""
    try:
        check_new_one(words, meaning)
    except AssertionError:
        check_new_one([word for word in words if word not in (",", "-")], meaning)


def check_new_one(words: list[str], meaning: Meaning) -> None:
    """The one of "new one" is the tree, or the first figure of its tag; of "next one" too."""
    try:
        check(words, meaning)
    except AssertionError:
        said = " ".join(words).lower()
        if any(talk in said for talk in MAY_BE_TALK):
            check(words, meaning, talk=())
        elif "new one " in said:
            check(said.replace("new one ", "new ", 1).split(), meaning)
        else:
            raise


@settings(max_examples=800, deadline=None)
@given(starts)
def test_no_meaning_holds_figures_that_were_not_said(walked, parse, start):
    words = walked(start)
    parsed = parse(" ".join(words), largest=Decimal(10**6), smallest=Decimal(0))
    assert parsed.meanings or "double" in words or "." in " ".join(words), words
    for meaning in parsed.meanings:
        check_new_one(words, meaning)


@settings(max_examples=600, deadline=None)
@given(starts, st.randoms(use_true_random=False))
def test_nor_where_words_were_lost_or_swapped(walked, parse, start, chance):
    """What a recogniser mishears: a word dropped, doubled or out of place."""
    words = walked(start)
    at = chance.randrange(len(words))
    how = chance.choice(("drop", "double", "swap"))
    if how == "drop":
        del words[at]
    elif how == "double":
        words.insert(at, words[at])
    else:
        other = chance.randrange(len(words))
        words[at], words[other] = words[other], words[at]
    try:
        parsed = parse(" ".join(words), largest=Decimal(10**6), smallest=Decimal(0))
    except OperatorError:
        return
    for meaning in parsed.meanings:
        check_without_stray_marks(words, meaning)


@settings(max_examples=250, deadline=None)
@given(st.integers(1, 999), st.sampled_from(ALL_SIZES), st.data())
def test_round_trip(parse, tag, size, data):
    """Any spoken form, any separator, a unit or none: the same tag and size come back."""
    said = data.draw(st.sampled_from(tag_forms(tag)))
    separator = data.draw(st.sampled_from([", ", " is ", " at ", " diameter ", " diameter is "]))
    unit = data.draw(st.sampled_from(["", " inches", " centimetres"]))
    figures = data.draw(st.sampled_from(size_forms(size)))
    parsed = parse(f"{data.draw(st.sampled_from(['tree', 'tag', 'number', 'tree number']))} "
                   f"{said}{separator}{figures}{unit}")  # fmt: skip
    (meaning,) = parsed.meanings
    named = {"": None, " inches": Unit.INCH, " centimetres": Unit.CENTIMETRE}[unit]
    assert (meaning.tag, meaning.value, meaning.unit) == (str(tag), size, named)


@settings(max_examples=250, deadline=None)
@given(st.integers(0, 9999), st.decimals(min_value=Decimal("0.1"), max_value=199, places=2))
def test_round_trip_of_what_is_typed(parse, tag, size):
    for words in (f"{tag} {size}", f"tree {tag}, {size}", f"{tag} is {size}cm", f"a{tag} {size}"):
        (meaning,) = parse(words).meanings
        assert meaning.tag == (f"A{tag}" if words.startswith("a") else str(tag))
        assert str(meaning.value) == str(size)


@settings(max_examples=800, deadline=None)
@given(st.text(max_size=320))
def test_any_text_is_answered_or_refused(parse, text):
    try:
        parsed = parse(text, {"83"})
    except OperatorError as error:
        assert str(error)
        return
    assert (len(parsed.meanings) == 1) == (parsed.problem is None)


RULES = re.sub(
    r"/\*.*?\*/|//[^\n]*|\{[^}]*\}|<[^>]*>", " ", ENGLISH.read_text(encoding="utf-8"), flags=re.S
)
VOCABULARY = [*sorted(set(re.findall(r"[a-z][a-z']*", RULES))), ",", "-", "83", "24.6", "A12"]


@settings(max_examples=800, deadline=None)
@given(st.lists(st.sampled_from(VOCABULARY), max_size=25))
def test_any_string_of_known_words_is_answered(parse, words):
    try:
        parsed = parse(" ".join(words))
    except OperatorError:
        return
    assert (len(parsed.meanings) == 1) == (parsed.problem is None)
    for meaning in parsed.meanings:
        check_new_one(words, meaning)


@pytest.mark.parametrize("word", ["one", "double", "hundred", "and", "tree", "no wait", "1 ", "-,"])
def test_the_longest_text_takes_no_time(parse, word):
    """No search may grow with what is said; generous, since the machine may be busy."""
    text = (f"tree one one {word} " * 60)[:300].rsplit(" ", 1)[0]
    started = time.process_time()
    with contextlib.suppress(OperatorError):
        parse(text)
    assert time.process_time() - started < 1
