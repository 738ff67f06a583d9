"""Questions on the terminal; an end of input is no answer, and nothing is done by it."""

from __future__ import annotations

from collections.abc import Callable

from callout.core.errors import OperatorError


def ask(question: str) -> str:
    """The answer, trimmed; '' if the input has ended."""
    try:
        return input(question).strip()
    except EOFError:
        print()
        return ""


def needed(question: str, checked: Callable[[str], str], usual: str = "") -> str:
    """An answer that ``checked`` takes, asked for until there is one; Enter takes what is usual.

    Raises EOFError where the input has ended: what was being asked about is not done.
    """
    asked = f"{question} [{usual}] " if usual else f"{question} "
    while True:
        given = input(asked).strip() or usual
        try:
            return checked(given)
        except OperatorError as error:
            print(f"{error}; leave by Ctrl+D")


def yes(question: str) -> bool:
    """Whether the answer is y or yes."""
    return ask(question).casefold() in ("y", "yes")
