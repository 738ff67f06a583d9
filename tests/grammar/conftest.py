"""The English grammar, compiled once for all tests of this folder."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from callout.grammar.automaton import Automaton
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import parse_jsgf
from callout.grammar.parser import Parsed, parse_words
from callout.grammar.scope import Scope

Parse = Callable[..., Parsed]
ENGLISH = Path(__file__).parents[2] / "grammars" / "en.jsgf"


@pytest.fixture(scope="session")
def english() -> Automaton:
    return compile_grammar(parse_jsgf(ENGLISH.read_text(encoding="utf-8")), "callout")


@pytest.fixture(scope="session")
def parse(english: Automaton) -> Parse:
    """``parse(words, tags=None, ...)`` within a scope of those tags."""

    def parsed(words: str, tags: set[str] | None = None, **limits: object) -> Parsed:
        known = frozenset(tags) if tags is not None else None
        return parse_words(english, words, Scope(tags=known, **limits))  # type: ignore[arg-type]

    return parsed


@pytest.fixture(scope="session")
def pairs(parse: Parse) -> Callable[..., list[tuple[str | None, Decimal | None]]]:
    """The (tag, value) of every meaning of the words."""

    def told(words: str, **how: object) -> list[tuple[str | None, Decimal | None]]:
        return [(meaning.tag, meaning.value) for meaning in parse(words, **how).meanings]

    return told
