"""Every saying has its words: in English all of them, in other languages as many, slot for slot."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from fluent.runtime import FluentBundle
from fluent.syntax import FluentParser
from fluent.syntax import ast as ftl
from fluent.syntax.visitor import Visitor
from hypothesis import given
from hypothesis import strategies as st

import callout
from callout.core.saying import Saying, as_is, saying, saying_from
from callout.core.told import STATUSES, command_told, side_told, status_told, unit_told
from callout.core.units import Scale, Unit
from callout.session.machine import TABLE
from callout.wording.language_files import english, load_wording
from callout.wording.wording import Length, Wording

PACKAGE = Path(callout.__file__).parent
FILES = sorted((PACKAGE / "wording").glob("*.ftl"))


class Slots(Visitor):
    def __init__(self) -> None:
        self.found: set[str] = set()

    def visit_VariableReference(self, node: ftl.VariableReference) -> None:  # noqa: N802
        self.found.add(node.id.name)


def slots(text: str) -> dict[str, set[str]]:
    """By key, the slots of a message in full; those of its other lengths are among them."""
    found = {}
    for entry in FluentParser().parse(text).body:
        assert not isinstance(entry, ftl.Junk), entry.content
        if isinstance(entry, ftl.Message):
            assert entry.id.name not in found, f"{entry.id.name} is there twice"
            full = Slots()
            full.visit(entry.value)
            for attribute in entry.attributes:
                assert attribute.id.name in {length.value for length in Length}
                other = Slots()
                other.visit(attribute.value)
                assert other.found <= full.found
            found[entry.id.name] = full.found
    return found


SLOTS = {path.stem: slots(path.read_text(encoding="utf-8")) for path in FILES}
ITS_OWN = {"its-voice", "its-point"}


def called() -> Iterator[tuple[str, str, set[str]]]:
    """Where a saying is made, its key, and its slots."""
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "saying":
                key = node.args[0]
                if isinstance(key, ast.Constant) and all(one.arg for one in node.keywords):
                    names = {str(one.arg) for one in node.keywords}
                    yield f"{path.name}:{node.lineno}", str(key.value), names


def test_there_is_more_than_english() -> None:
    assert {"en", "ko"} <= set(SLOTS)


@pytest.mark.parametrize("code", [code for code in SLOTS if code != "en"])
def test_no_language_lacks_a_key_or_has_one_of_its_own(code: str) -> None:
    assert set(SLOTS[code]) - ITS_OWN == set(SLOTS["en"])


@pytest.mark.parametrize("code", [code for code in SLOTS if code != "en"])
def test_every_slot_is_in_every_language(code: str) -> None:
    other = {key: SLOTS[code][key] for key in SLOTS["en"] if SLOTS[code][key] != SLOTS["en"][key]}
    assert other == {}


def test_every_saying_has_its_words_and_fills_its_slots() -> None:
    wrong = [item for item in called() if SLOTS["en"].get(item[1]) != item[2]]
    assert wrong == []
    assert len(list(called())) > 150


def families() -> Iterator[Saying]:
    yield from map(status_told, STATUSES)
    yield from (unit_told(unit, short=short) for unit in Unit for short in (True, False))
    yield from map(side_told, Scale)
    yield from (command_told(kind) for _, kind in TABLE)


def test_what_has_one_word_each_has_it() -> None:
    assert [one.key for one in families() if one.key not in SLOTS["en"]] == []


def test_no_words_lie_about_that_nobody_tells() -> None:
    source = "".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    made = {one.key for one in families()} | {
        f"name-{one}" for one in ("disk", "recogniser", "voice")
    }
    unused = [key for key in SLOTS["en"] if f'"{key}"' not in source and key not in made]
    assert unused == []


def test_every_message_can_be_told_at_every_length() -> None:
    for code in SLOTS:
        wording = load_wording(code)
        for key, names in SLOTS[code].items():
            one = Saying(
                key, tuple((name, 2 if name in ("count", "more") else "x") for name in names)
            )
            for length in Length:
                assert "{" not in wording.part(one, length) and f"{key}(" not in wording.part(one)


def test_sentences_counts_and_decimals() -> None:
    one = saying("warn-down", change=Decimal("0.4"), time=saying("years", count=1))
    assert english().shown(one, as_is("is it?")) == "That is down 0.4 in 1 year. Is it?"
    korean = load_wording("ko")
    assert korean.spoken(one) == "0 점 4 줄었음 (1년 동안)."
    assert korean.shown(one) == "0.4 줄었음 (1년 동안)."
    assert (korean.voice, english().voice) == ("ko", "")


def test_lengths_and_what_a_language_lacks() -> None:
    first = Wording("en", "a = whole { $x }\n    .brief = { $x }\nb = only english")
    other = Wording("xx", "a = ganz { $x }\n    .shown = [{ $x }]", first)
    one = saying("a", x="1")
    assert [first.part(one, length) for length in Length] == ["whole 1", "whole 1", "1"]
    assert [other.part(one, length) for length in Length] == ["[1]", "ganz 1", "ganz 1"]
    assert other.part(saying("b")) == "only english"
    assert other.part(saying("a")) == "a()", "a lacking figure is no reason to fail"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_entries_are_read_one_by_one_as_the_whole_file_would_be(path: Path) -> None:
    """The outside judge is Fluent's own parser, given the file at once."""
    text = path.read_text(encoding="utf-8")
    whole = FluentBundle([path.stem], use_isolating=False)
    whole.add_resource(FluentParser().parse(text))
    words, figures = Wording(path.stem, text), ("7", 1, 3, "24.6")
    for key, names in SLOTS[path.stem].items():
        given = {name: figures[at % 4] for at, name in enumerate(sorted(names))}
        message = whole.get_message(key)
        for length in Length:
            pattern = message.attributes.get(length.value, message.value)
            expected, errors = whole.format_pattern(pattern, given) if pattern else ("", [])
            assert not errors
            told = " ".join(str(expected).split())
            assert " ".join(words.part(saying(key, **given), length).split()) == told


def test_an_entry_brings_those_it_refers_to() -> None:
    text = (
        "# of trees\nwood = { $n ->\n    [one] { tree }\n   *[other] { $n } { -many }\n}\n"
        'tree = a tree\n    .brief = { -many(of: "x") }\n-many = { bush }es\r\nbush = bush\n'
        "wood = the second is not taken\nbroken = { $x\nwhole = whole\n"
    )
    words = Wording("en", text)
    assert words.part(saying("wood", n=1)) == "a tree"
    assert words.part(saying("wood", n=2)) == "2 bushes"
    assert not words.knows("broken")
    assert not words.knows("trees")
    assert Wording("en", text).part(saying("whole")) == "whole"


figures = st.recursive(
    st.text(max_size=8) | st.integers(-9, 10**6) | st.decimals("0", "999", places=2),
    lambda inner: (
        st.builds(
            lambda key, more: Saying(key, tuple(more.items())),
            st.sampled_from(["tag", "size"]),
            st.dictionaries(st.sampled_from(["a", "b"]), inner, max_size=2),
        )
        | st.lists(st.builds(as_is, st.text(max_size=5)), max_size=3).map(tuple)
    ),
    max_leaves=6,
)


@given(st.dictionaries(st.sampled_from(["tag", "count", "x"]), figures, max_size=3))
def test_json_there_and_back(given_figures: dict[str, object]) -> None:
    one = Saying("any", tuple(given_figures.items()))  # type: ignore[arg-type]
    assert saying_from(one.as_json()) == one


def test_a_text_of_an_older_journal_is_told_as_it_stands() -> None:
    assert saying_from("no callout in 'x'") == as_is("no callout in 'x'")
    for wrong in (None, 3, [], {"figures": {}}):
        with pytest.raises(ValueError, match="no saying"):
            saying_from(wrong)
