"""The message at the start about words that the recogniser will never hear, and what to do.

The engine decides which words those are.
"""

from __future__ import annotations

from typing import NamedTuple

from callout.core.saying import Saying, saying
from callout.grammar.language import Language
from callout.session.told.echo import listed
from callout.speech.engine import Engine, TellsUnknown

_MOST_SHOWN, _MOST_SPOKEN = 40, 3
_OTHERS = {
    "pocketsphinx": saying("other-vosk-model"),
    "closed": saying("other-vosk-model"),
    "vosk": saying("other-larger-model"),
}


class Unheard(NamedTuple):
    """The state to show and log, and what is said of it aloud; None for names of species alone.

    Those are said of new trees only, and would otherwise be the first message every morning.
    """

    shown: Saying
    spoken: Saying | None


def unheard_told(engine: Engine | None, language: Language) -> Unheard | None:
    """The message; None if every word can be heard, or no engine listens."""
    if not isinstance(engine, TellsUnknown):
        return None
    words = _named(engine.unknown_words(language.spoken), language)
    if not words:
        return None
    other = _OTHERS.get(engine.name, saying("other-engine"))
    shown = saying("cannot-hear", engine=engine.name, words=listed(words, _MOST_SHOWN), other=other)
    if not set(words).difference(language.species, language.unsaid):
        return Unheard(shown, None)
    if len(words) <= _MOST_SPOKEN:
        return Unheard(shown, shown)
    return Unheard(shown, saying("cannot-hear-names", engine=engine.name, count=len(words)))


def _named(words: tuple[str, ...], language: Language) -> tuple[str, ...]:
    """The species by their whole names, and the other words."""
    species = [name for name in language.species if language.words_of(name) & set(words)]
    others = set(words).difference(*map(language.words_of, species))
    return (*sorted(others), *sorted([*species, *language.unsaid]))
