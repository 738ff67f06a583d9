"""The result of one check: whether it works, what was seen, what to do.

Plain values, shown or written as JSON by the command. The other modules do the checks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from callout.core.errors import CalloutError
from callout.wording.language_files import english


class State(IntEnum):
    """The state of one thing; the worst of all is the command's exit code."""

    WORKS = 0
    LESS = 1
    """A day can begin, with less: by typing, without a voice, without a tape."""
    BROKEN = 2
    """Must be fixed before a day begins."""


@dataclass(frozen=True)
class Finding:
    """``name`` is the same in every version, for those who read JSON; ``do`` only where needed."""

    name: str
    state: State
    found: str
    do: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "name": self.name,
            "state": self.state.name.lower(),
            "found": self.found,
            "do": self.do,
        }


def works(name: str, found: str) -> Finding:
    """It works."""
    return Finding(name, State.WORKS, found)


def less(name: str, found: str, do: str) -> Finding:
    """Work goes on without it."""
    return Finding(name, State.LESS, found, do)


def broken(name: str, found: str, do: str) -> Finding:
    """A day should not begin like this."""
    return Finding(name, State.BROKEN, found, do)


def looked(name: str, look: Callable[[], Finding]) -> Finding:
    """The finding of ``look``; an error is a finding too: one fault must not hide others."""
    try:
        return look()
    except CalloutError as error:
        return broken(name, told(error), "put that right, then again")
    except Exception as error:
        what = f"{type(error).__name__}: {error}".splitlines()[0][:200]
        return broken(name, f"could not be looked at ({what})", "report it, with this page")


def told(error: CalloutError) -> str:
    """The error's own message, which also says what to do."""
    return english().part(error.saying).rstrip(".")


def worst(findings: Iterable[Finding]) -> State:
    """The worst state of all."""
    return max((one.state for one in findings), default=State.WORKS)
