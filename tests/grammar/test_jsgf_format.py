"""JSGF as its standard has it, by what a grammar then lets be said; and what is wrong with a file.

Source: JSpeech Grammar Format, W3C Note 5 June 2000 (its rules from memory; the grammars here are
invented). A phrase is told with what it emits, as ``words {tags}``.
"""

from __future__ import annotations

import pytest

from callout.core.errors import OperatorError
from callout.grammar.automaton import Automaton, without_words
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import parse_jsgf

HEADER = "#JSGF V1.0 UTF-8 en;\ngrammar invented;\n"


def compiled(rules: str) -> Automaton:
    return compile_grammar(parse_jsgf(HEADER + rules), "callout")


def phrases(automaton: Automaton) -> list[str]:
    """Everything that can be said, each way through the automaton once."""
    found, todo = [], [(automaton.start, "", "")]
    while todo:
        state, words, emits = todo.pop()
        if state in automaton.finals:
            found.append(f"{words.strip()} {{{emits.strip()}}}" if emits else words.strip())
        for word, more, target in automaton.ways[state]:
            said = f"{emits} {' '.join(more)}" if more else emits
            todo.append((target, f"{words} {word}", said))
    return sorted(found)


def said(rules: str) -> list[str]:
    return phrases(compiled(rules))


@pytest.mark.parametrize(
    ("expansion", "expected"),
    [
        ("a", ["a"]),
        ("a b c", ["a b c"]),
        ("a | b | c", ["a", "b", "c"]),
        ("a b | c d", ["a b", "c d"]),  # a sequence binds closer than an alternative
        ("a (b | c) d", ["a b d", "a c d"]),
        ("(a | b) (c | d)", ["a c", "a d", "b c", "b d"]),
        ("a [b] c", ["a b c", "a c"]),
        ("[a | b] c", ["a c", "b c", "c"]),
        ("a [b [c]]", ["a", "a b", "a b c"]),
        ("/10/ a | /2/ b | /0.5/ c", ["a", "b", "c"]),  # weights change no meaning
        ("a <NULL> b", ["a b"]),
        ("a | <VOID>", ["a"]),
        ("a | b <VOID> c", ["a"]),
        ('"New York" | a', ["New York", "a"]),  # a quoted token is one word
        (r'a "\""', ['a "']),
        ("""a '"'""", ['a "']),
        ("<other> a", ["b a", "c a"]),
        ("<other>", ["b", "c"]),
        ("a end public", ["a end public"]),  # words like any other
        ("a {x}", ["a {x}"]),
        ("a {x} | b {y}", ["a {x}", "b {y}"]),
        ("a {x y} b {z}", ["a b {x y z}"]),
        ("{before} a", ["a {before}"]),
        ("{before} [{early} a] b {late}", ["a b {before early late}", "b {before late}"]),
        ("(a {x}) {y}", ["a {x y}"]),
        ("[a] {x} b", ["a b {x}", "b {x}"]),
        ("a // a remark\n b", ["a b"]),
        ("a /* a remark ; | over\n two lines */ b", ["a b"]),
        ("a <VOID>* b", ["a b"]),  # nothing, any number of times
        ("a | a <VOID>+ b", ["a"]),  # nothing, at least once
    ],
)
def test_what_may_be_said(expansion: str, expected: list[str]) -> None:
    assert said(f"public <callout> = {expansion};\n<other> = b | c;") == sorted(expected)


def test_the_header_is_all_that_is_needed_before_the_grammar_s_name() -> None:
    grammar = parse_jsgf("#JSGF V1.0;\ngrammar a.b.c;\npublic <callout> = a;\n<b> = c;")
    assert (grammar.name, grammar.public) == ("a.b.c", ("callout",))
    assert set(grammar.rules) == {"callout", "b"}


def test_lines_are_of_no_account() -> None:
    grammar = parse_jsgf("#JSGF V1.0;grammar a;public<callout>=b[c];")
    assert phrases(compile_grammar(grammar, "callout")) == ["b", "b c"]
    assert parse_jsgf("\n #JSGF V1.0 ;\n\ngrammar\na\n;\n<b>\n=\nc\n;\n\n").name == "a"


def test_a_rule_is_used_as_often_as_it_is_named() -> None:
    rules = "public <callout> = <d> [<d>];\n<d> = one {1} | two {2};"
    assert said(rules) == sorted(
        ["one {1}", "two {2}", "one one {1 1}", "one two {1 2}", "two one {2 1}", "two two {2 2}"]
    )


def test_a_phrase_that_two_rules_have_keeps_both_meanings() -> None:
    assert said("public <callout> = a {x} | a {y};") == ["a {x}", "a {y}"]
    assert said("public <callout> = a | a;") == ["a"], "the same twice is once"


def test_states_that_go_on_alike_are_one() -> None:
    """What follows must not depend on the way there, else the recogniser's graph would grow."""
    automaton = compiled("public <callout> = (a | b | c) (d | e) f;")
    assert len(automaton.ways) == 4
    assert len(automaton.finals) == 1
    assert automaton.words == {"a", "b", "c", "d", "e", "f"}


def test_what_leads_nowhere_is_left_out() -> None:
    automaton = compiled("public <callout> = a b <VOID> | a c;")
    assert automaton.words == {"a", "c"}
    assert phrases(compiled("public <callout> = <VOID>;")) == []
    assert phrases(compiled("public <callout> = [a];")) == ["a"], "nothing said is no callout"


def test_without_a_word_its_phrases_are_gone_and_no_others() -> None:
    automaton = compiled("public <callout> = (a | b) c | c [d];")
    assert phrases(without_words(automaton, frozenset({"a", "d"}))) == ["b c", "c"]
    assert phrases(without_words(automaton, frozenset())) == phrases(automaton)
    assert phrases(without_words(automaton, frozenset({"c"}))) == []


def test_a_rule_can_be_filled_in_from_outside() -> None:
    grammar = parse_jsgf(HEADER + "public <callout> = a <species>;\n<species> = <VOID>;")
    oak = parse_jsgf(HEADER + "<species> = red oak {red_oak};").rules["species"]
    assert phrases(compile_grammar(grammar, "callout")) == []
    assert phrases(compile_grammar(grammar, "callout", {"species": oak})) == ["a red oak {red_oak}"]


# ---- files that are wrong ----


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("grammar a;\n<b> = c;", "begins with a line such as '#JSGF V1.0"),
        ("#JSGF V2.0;\ngrammar a;\n<b> = c;", "begins with a line such as '#JSGF V1.0"),
        ("#JSGF V1.0;\n<b> = c;", "expected 'grammar', found '<b>'"),
        ("#JSGF V1.0;\ngrammar a\n<b> = c;", "expected ';', found '<b>'"),
        ("#JSGF V1.0;\ngrammar a;\nb = c;", "expected a rule such as <size>, found 'b'"),
        ("#JSGF V1.0;\ngrammar a;\n; <b> = c;", "such as <size>, found ';'"),
        ('#JSGF V1.0;\ngrammar a;\n"b" = c;', "such as <size>, found '\"b\"'"),
        ("#JSGF V1.0;\ngrammar a;\nsecret <b> = c;", "such as <size>, found 'secret'"),
        ("#JSGF V1.0;\ngrammar a;\nopen <b> = c;", "such as <size>, found 'open'"),
        ("#JSGF V1.0;\ngrammar a;\npublic b = c;", "expected a rule such as <size>, found 'b'"),
        ("#JSGF V1.0;\ngrammar a;\n<b> c;", "expected '=', found 'c'"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = c;\n<b> = d;", "rule <b> is defined twice"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = c", "ends in the middle of a rule"),
        ("#JSGF V1.0;\ngrammar a;\n<b> =", "ends in the middle of a rule"),
        ("#JSGF V1.0;\ngrammar a;\npublic", "ends in the middle of a rule"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = (c;", "expected ')', found ';'"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = [c);", "expected ']', found ')'"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = c);", "expected ';', found ')'"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = *;", "'*' is out of place"),
        ("#JSGF V1.0;\ngrammar a;\n<b> = c = d;", "'=' is out of place"),
    ],
)
def test_what_is_wrong_with_a_file_is_said(text: str, told: str) -> None:
    with pytest.raises(OperatorError) as caught:
        parse_jsgf(text)
    assert told in str(caught.value)


@pytest.mark.parametrize("lines", [0, 1, 5])
def test_the_line_of_what_cannot_be_read_is_told_and_a_little_of_it(lines: int) -> None:
    """Line 3, but for the remark before it, which counts as the lines it takes."""
    remark = "/*" + "\n*" * lines + "*/"
    with pytest.raises(OperatorError) as caught:
        parse_jsgf(f"{HEADER}{remark}<b> = c }}4567890123456789xyz;")
    assert f"cannot read ' }}4567890123456789xy' near line {3 + lines}" in str(caught.value)


@pytest.mark.parametrize(
    ("rules", "told"),
    [
        ("<callout> = <b>;", "rule <b> is not defined"),
        ("<callout> = a [<callout>];", "rule <callout> refers to itself"),
        ("<callout> = <b>;\n<b> = a <c>;\n<c> = [<b>] d;", "rule <b> refers to itself"),
        ("<callout> = a*;", "callouts without end"),
        ("<callout> = a+;", "callouts without end"),
        ("<callout> = c (a [b])+ d;", "callouts without end"),
        ("<callout> = a b* c;", "callouts without end"),
        ("<other> = a;", "rule <callout> is not defined"),
    ],
)
def test_what_cannot_be_compiled_is_said(rules: str, told: str) -> None:
    with pytest.raises(OperatorError) as caught:
        compiled(rules)
    assert told in str(caught.value)
