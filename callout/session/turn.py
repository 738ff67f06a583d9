"""One callout on its way through the session's table, and the plainest answer to it."""

from __future__ import annotations

from dataclasses import dataclass

from callout.core.checks import Rules
from callout.core.events import Effect, Heard, Say
from callout.core.meaning import Meaning
from callout.core.model import Plot
from callout.session import echo
from callout.session.state import Memory


@dataclass(frozen=True)
class Turn:
    """One callout with exactly one meaning, and all that is known when it comes."""

    memory: Memory
    plot: Plot
    rules: Rules
    event: Heard
    meaning: Meaning


Result = tuple[Memory, tuple[Effect, ...]]


def asked(memory: Memory, text: str, tone: str) -> Result:
    """Say something and stay where we are.

    What still waits is named again: a yes must answer the last thing that was heard.
    """
    said = text[:1].upper() + text[1:] + ("" if text[-1] in ".?" else ".")
    if memory.pending is not None and tone != "saved":
        said += f" Still waiting: {echo.told(memory.pending.draft)}. {echo.asks(memory.pending)}"
    return memory, (Say(said, tone),)
