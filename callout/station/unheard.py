"""What is told at the start of words that the recogniser will never hear, and what to do.

Which words those are is the engine's to say.
"""

from __future__ import annotations

from collections.abc import Sequence

from callout.session.echo import listed

_MOST_NAMED = 12
_OTHERS = {
    "pocketsphinx": "engine vosk with a model that has them",
    "closed": "engine pocketsphinx or vosk",
    "vosk": "a larger Vosk model",
}


def unheard_told(engine: str, words: Sequence[str]) -> str | None:
    """The state to show and speak; None where every word can be heard."""
    if not words:
        return None
    other = _OTHERS.get(engine, "another engine")
    named = listed(tuple(words), _MOST_NAMED)
    return f"{engine} cannot hear {named}: type what needs them, or choose {other} in survey.toml"
