"""One spoken language: its grammar file, read once and then narrowed to each plot.

Takes texts, not paths; the wiring knows where ``grammars/`` is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Protocol

from callout.core.errors import OperatorError
from callout.grammar.automaton import Automaton
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import VOID, Choice, Expansion, Grammar, Repeat, Tag, Token, parse_jsgf
from callout.grammar.jsgf import Sequence as Said
from callout.grammar.scope import Scope, narrowed_to
from callout.grammar.words import tokens_of

ROOT = "callout"


class Compile(Protocol):
    """Compiles a rule to an automaton, cut to a scope if given: ``made``, or a cached one."""

    def __call__(self, grammar: Grammar, root: str, scope: Scope | None = None) -> Automaton: ...


def made(grammar: Grammar, root: str, scope: Scope | None = None) -> Automaton:
    """Compiled here and now."""
    whole = compile_grammar(grammar, root)
    return whole if scope is None else narrowed_to(whole, scope)


NOT_HEARD = ("written_", "free_")
"""Prefixes of rules that are for text only: recognisers do not listen for them."""
_ANYWHERE = {"free_pause": "@pause", "free_link": "@link"}


@dataclass(frozen=True)
class Language:
    """One language; ``full``, of all of ``grammar``, reads typed or transcribed text."""

    code: str
    full: Automaton
    grammar: Grammar
    pronunciations: Mapping[str, str]
    species: tuple[str, ...] = ()
    unsaid: tuple[str, ...] = ()
    """The species whose names are not plain words, so that the grammar lacks them."""
    compile: Compile = made
    common: Mapping[str, str] = field(default_factory=dict)
    """The common names of species that the roster has by a code or a scientific name."""

    def words_of(self, name: str) -> frozenset[str]:
        """The words of a species, those of its common name too."""
        return frozenset((*plain_words(name), *plain_words(self.common.get(name, ""))))

    @cached_property
    def spoken(self) -> Automaton:
        """What a recogniser may hear: the grammar without its rules for text."""
        return self.compile(self._heard, ROOT)

    def spoken_in(self, scope: Scope) -> Automaton:
        """What may be heard in one plot."""
        return self.compile(self._heard, ROOT, scope)

    @property
    def _heard(self) -> Grammar:
        rules = {
            name: VOID if name.startswith(NOT_HEARD) else part
            for name, part in self.grammar.rules.items()
        }
        return replace(self.grammar, rules=rules)


def read_language(
    code: str,
    grammar: str,
    dictionary: str = "",
    species: Sequence[str] = (),
    plots: Sequence[str] = (),
    compile: Compile = made,
    common: Mapping[str, str] | None = None,
) -> Language:
    """The automata of a JSGF text, with pronunciations (``word PH ON ES`` lines) and names.

    The names are those of the survey's species and plots; ``common`` has the common name of a
    species that the roster has by its code or its scientific name. Raises OperatorError for a
    grammar that cannot be used.
    """
    parsed = parse_jsgf(grammar)
    said = {name: _said(name, species, common or {}) for name in sorted(set(species))}
    filled = {"species": _species(said), "plots": _plots(plots)}
    rules = {name: filled.get(name, part) for name, part in parsed.rules.items()}
    parsed = replace(parsed, rules=rules)
    return Language(
        code=code,
        full=replace(compile(parsed, ROOT), anywhere=_anywhere(parsed)),
        grammar=parsed,
        pronunciations=_pronunciations(dictionary),
        species=tuple(sorted(set(species))),
        unsaid=tuple(name for name, ways in said.items() if not ways),
        compile=compile,
        common=common or {},
    )


def _anywhere(grammar: Grammar) -> dict[str, str]:
    """The words that may stand between any two others, and what each emits."""
    return {
        word: token
        for name, token in _ANYWHERE.items()
        for word in _words_in(grammar.rules.get(name, VOID))
    }


def _words_in(part: Expansion) -> set[str]:
    if isinstance(part, Token):
        return {part.word}
    if isinstance(part, Choice):
        return set().union(*map(_words_in, part.options))
    if isinstance(part, Said):
        return set().union(*map(_words_in, part.parts))
    return _words_in(part.part) if isinstance(part, Repeat) else set()


def _said(name: str, species: Sequence[str], common: Mapping[str, str]) -> list[list[str]]:
    """The ways to say a species: by its name, and by a common one that no other here has."""
    listed = {plain for one in species if (plain := one.casefold()) != name.casefold()}
    also = common.get(name, name)
    said = [plain_words(one) for one in dict.fromkeys((name, also)) if one.casefold() not in listed]
    return [words for words in said if words]


def _species(said: Mapping[str, Sequence[Sequence[str]]]) -> Expansion:
    """Each species by its words; emits the name as the roster writes it."""
    return Choice(
        tuple(
            Said((*map(Token, words), Tag(name.replace(" ", "_"))))
            for name, ways in said.items()
            for words in ways
        )
    )


def _plots(names: Sequence[str]) -> Expansion:
    """Each plot by its name as typed; digits in it are emitted as they were typed."""
    options = []
    for name in sorted(set(names)):
        try:
            tokens = tokens_of(name)
        except OperatorError:
            continue  # a name that cannot be typed as a callout: use --plot
        emits = ["$" if token.word.isupper() else token.text for token in tokens]
        options.append(Said((*(Token(one.word) for one in tokens), Tag(" _ ".join(emits)))))
    return Choice(tuple(options))


def plain_words(name: str) -> list[str]:
    """The words of a species' name, a hyphen parting two; empty if one is not letters only."""
    words = name.lower().replace("-", " ").split()
    return words if all(word.replace("'", "").isalpha() for word in words) else []


def _pronunciations(text: str) -> dict[str, str]:
    found = {}
    for number, line in enumerate(text.splitlines(), start=1):
        word, _, phones = line.strip().partition(" ")
        if word and not phones:
            raise OperatorError(f"dictionary line {number}: {word!r} has no phones")
        if word:
            found[word] = phones.strip()
    return found
