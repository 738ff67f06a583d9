"""One spoken language: its grammar file read once, then cut to each plot.

Takes texts, not paths; where ``grammars/`` lies is the wiring's business.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from callout.core.errors import OperatorError
from callout.grammar.automaton import Automaton, without_words
from callout.grammar.compiling import compile_grammar
from callout.grammar.jsgf import Choice, Expansion, Grammar, Repeat, Tag, Token, parse_jsgf
from callout.grammar.jsgf import Sequence as Said
from callout.grammar.scope import Scope, narrowed_to

ROOT = "callout"
WRITTEN = "written_"


@dataclass(frozen=True)
class Language:
    """``full`` reads what is typed or transcribed; ``written`` are its words that nobody says."""

    code: str
    full: Automaton
    written: frozenset[str]
    pronunciations: Mapping[str, str]
    species: tuple[str, ...] = ()
    unsaid: tuple[str, ...] = ()
    """Those of the species whose names are no plain words, so that the grammar lacks them."""

    @cached_property
    def spoken(self) -> Automaton:
        """What a recogniser may hear."""
        return without_words(self.full, self.written)

    def spoken_in(self, scope: Scope) -> Automaton:
        """What may be heard in one plot."""
        return narrowed_to(self.spoken, scope)


def read_language(
    code: str, grammar: str, dictionary: str = "", species: Sequence[str] = ()
) -> Language:
    """The language of a JSGF text, its pronunciations (``word PH ON ES`` lines), and the survey's

    species by their spoken names. Raises OperatorError for a grammar that cannot be used.
    """
    parsed = parse_jsgf(grammar)
    filled = {"species": _species(species)} if "species" in parsed.rules else {}
    full = compile_grammar(parsed, ROOT, filled)
    return Language(
        code=code,
        full=full,
        written=_written_words(parsed),
        pronunciations=_pronunciations(dictionary),
        species=tuple(sorted(set(species))),
        unsaid=tuple(name for name in sorted(set(species)) if not plain_words(name)),
    )


def _written_words(grammar: Grammar) -> frozenset[str]:
    """Words that stand in the rules for the keyboard and in no other: nobody says them."""
    written: set[str] = set()
    said: set[str] = set()
    for name, part in grammar.rules.items():
        (written if name.startswith(WRITTEN) else said).update(_words_in(part))
    return frozenset(written - said)


def _words_in(part: Expansion) -> set[str]:
    if isinstance(part, Token):
        return {part.word}
    if isinstance(part, Choice):
        return set().union(*map(_words_in, part.options))
    if isinstance(part, Said):
        return set().union(*map(_words_in, part.parts))
    return _words_in(part.part) if isinstance(part, Repeat) else set()


def _species(names: Sequence[str]) -> Expansion:
    """Each species by its words; what it emits is the name as the roster writes it."""
    options = []
    for name in sorted(set(names)):
        if words := plain_words(name):
            options.append(Said((*(Token(word) for word in words), Tag(name.replace(" ", "_")))))
    return Choice(tuple(options))


def plain_words(name: str) -> list[str]:
    """The words of a species' name; none where one of them is not letters alone."""
    words = name.lower().split()
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
