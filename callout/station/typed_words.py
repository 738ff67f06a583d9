"""What a typed line means: a callout, a note, or the reason why it is neither.

Nothing is kept or told here.
"""

from __future__ import annotations

from callout.core.errors import CalloutError
from callout.core.meaning import Meaning
from callout.core.saying import saying
from callout.grammar.automaton import Automaton
from callout.grammar.parser import Parsed, parse_words
from callout.grammar.scope import Scope

LONGEST_TYPED = 5_000
"""Characters of a typed line; a note may be that long."""
SHOWN_TYPED = 300


def typed_line(grammar: Automaton, text: str, scope: Scope, notes: bool) -> Parsed:
    """The meaning of ``text``; where ``notes`` are listened for, what is no callout is one."""
    length, text = len(text), keepable(text[: LONGEST_TYPED + 1])
    if length > LONGEST_TYPED:  # told, and no more of it kept than shows what it was
        return Parsed(f"{text[:SHOWN_TYPED]}…", (), saying("line-too-long", count=length))
    try:
        parsed = parse_words(grammar, text, scope)
    except CalloutError as error:
        parsed = Parsed(text, (), error.saying)
    if not parsed.meanings and notes:
        return Parsed(text, (Meaning("note", text=text),), None)
    return parsed


def keepable(text: str) -> str:
    """Bytes that were no text arrive as lone surrogates, which no file of ours can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")
