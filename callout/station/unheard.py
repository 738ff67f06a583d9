"""What is told at the start of words that the recogniser will never hear, and what to do.

Which words those are is the engine's to say.
"""

from __future__ import annotations

from callout.grammar.language import Language
from callout.session.echo import listed
from callout.speech.engine import Engine, TellsUnknown

_MOST_NAMED = 12
_OTHERS = {
    "pocketsphinx": "engine vosk with a model that has them",
    "closed": "engine pocketsphinx or vosk",
    "vosk": "a larger Vosk model",
}


def unheard_told(engine: Engine | None, language: Language) -> str | None:
    """The state to show and speak; None where every word can be heard, or no engine listens."""
    if not isinstance(engine, TellsUnknown):
        return None
    words = (*engine.unknown_words(language.spoken), *language.unsaid)
    if not words:
        return None
    other = _OTHERS.get(engine.name, "another engine")
    named = listed(words, _MOST_NAMED)
    return (
        f"{engine.name} cannot hear {named}: type what needs them, or choose {other} in survey.toml"
    )
