"""What a typed line means: a callout, a note, or the reason why it is neither.

Nothing is stored or told here.
"""

from __future__ import annotations

import re
from dataclasses import replace

from callout.core.errors import CalloutError
from callout.core.meaning import Meaning
from callout.core.saying import saying
from callout.grammar.language import Language
from callout.grammar.parser import Parsed, parse_words
from callout.grammar.scope import Scope

LONGEST_TYPED = 5_000
"""Characters of a typed line; a note may be that long."""
SHOWN_TYPED = 300
_ENDS_A_NOTE = frozenset({"reject", "scratch", "help", "pause", "resume"})


def typed_line(language: Language, text: str, scope: Scope, notes: bool) -> Parsed:
    """The meaning of ``text``; while ``notes`` are listened for, what is not a callout is one."""
    length, text = len(text), keepable(text[: LONGEST_TYPED + 1])
    if length > LONGEST_TYPED:  # reported, keeping only enough to show what it was
        return Parsed(f"{text[:SHOWN_TYPED]}…", (), saying("line-too-long", count=length))
    try:
        parsed = parse_words(language.full, text, scope)
    except CalloutError as error:
        parsed = Parsed(text, (), error.saying)
    if not notes and not parsed.meanings:
        if told := _in_own_words(language, text, scope) or _new_of_own_name(language, text, scope):
            return Parsed(text, (told,), None)
        if (joined := _with_tag_joined(text, scope)) != text:
            return replace(typed_line(language, joined, scope, notes), words=text)
    if notes and not _interrupts(language, parsed, scope):
        return Parsed(text, (Meaning("note", text=text),), None)
    return parsed


def _in_own_words(language: Language, text: str, scope: Scope) -> Meaning | None:
    """ "note: forked", "83 species wild service": a word for what follows, then free words."""
    ends = [match.start() for match in _WORD_ENDS.finditer(text)][:_HEAD_WORDS]
    for end in reversed(ends):  # "note 108 big fork" is about tree 108
        rest = text[end:].strip(_BETWEEN)
        if ":" in text[:end]:
            continue  # "note: 3 stems": what follows a colon is free
        try:
            meanings = parse_words(language.full, text[:end], scope).meanings
        except CalloutError:
            continue
        if len(meanings) != 1 or not rest:
            continue
        if meanings[0].kind == "note":
            return replace(meanings[0], text=rest)
        if meanings[0].kind == "species" and not meanings[0].species and _is_name(rest):
            return replace(meanings[0], species=" ".join(rest.split()))
    return None


def _new_of_own_name(language: Language, text: str, scope: Scope) -> Meaning | None:
    """A new tree whose species the survey does not have yet: "new tree 141 wild service 8.1"."""
    for name in _NAMES.finditer(text):
        words = name.group().lower().split()
        if language.full.known.intersection(words):
            continue  # no name: a word that means something else
        try:
            parsed = parse_words(language.full, _rest(text, name), scope)
        except CalloutError:
            continue
        if parsed.problem is None and [one.kind for one in parsed.meanings] == ["new"]:
            (new,) = parsed.meanings
            if not new.species and _is_name(name.group()):
                return replace(new, species=" ".join(words))
    return None


def _rest(text: str, name: re.Match[str]) -> str:
    return f"{text[: name.start()].rstrip(_BETWEEN)} {text[name.end() :].lstrip(_BETWEEN)}"


def _with_tag_joined(text: str, scope: Scope) -> str:
    """With a tag that was typed figure by figure, "1 0 4", as the plot has it."""
    digits = _DIGITS.search(text)
    tag = digits.group().replace(" ", "") if digits else ""
    if digits is None or tag not in (scope.tags or ()):
        return text
    return f"{text[: digits.start()]}{tag}{text[digits.end() :]}"


_NAMES = re.compile(r"[^\W\d_]+(?:['.-]?[ '-][^\W\d_]+)*")
# Three or more, so that "1 5" stays a tag and a size; and no others beside them.
_DIGITS = re.compile(r"(?<![\d.] )(?<![\d.])\d(?: \d){2,}(?![\d.])(?! \d(?!\d*\.))")
_WORD_ENDS = re.compile(r"(?<=\w)(?=[\s:,-])")
_HEAD_WORDS, _BETWEEN = 5, " \t:,-"
_LONGEST_NAME = 60


def _is_name(text: str) -> bool:
    """Letters, as a species has them in any language, and the marks that stand in its name."""
    plain = re.sub(r"[ '.×()-]", "", text)
    return len(text) <= _LONGEST_NAME and plain.isalpha()


def _interrupts(language: Language, parsed: Parsed, scope: Scope) -> bool:
    """Whether a line ends the note: "gone" and "right" are words of a note.

    A spoken callout does, one with digits, and a word that drops the note.
    """
    kinds = {meaning.kind for meaning in parsed.meanings}
    if not kinds or kinds & _ENDS_A_NOTE or any(map(str.isdigit, parsed.words)):
        return bool(kinds)
    return bool(parse_words(language.spoken, parsed.words, scope).meanings)


def keepable(text: str) -> str:
    """Replace the lone surrogates of undecodable bytes, which no file of ours can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")
