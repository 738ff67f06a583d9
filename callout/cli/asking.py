"""Questions on the terminal; an end of input is no answer, and nothing is done by it."""

from __future__ import annotations


def ask(question: str) -> str:
    """The answer, trimmed; '' if the input has ended."""
    try:
        return input(question).strip()
    except EOFError:
        print()
        return ""


def yes(question: str) -> bool:
    """Whether the answer is y or yes."""
    return ask(question).casefold() in ("y", "yes")
