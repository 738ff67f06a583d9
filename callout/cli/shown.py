"""Guarded standard output and error: a stranger's survey is shown, its controls are inert.

Escape sequences, other controls and direction marks come out as ``\\uXXXX``, which JSON reads as
what they were. Only rich's own progress and tables write past the guard, through ``rich_console``.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

from callout.core.unseen import spelt

if TYPE_CHECKING:
    from rich.console import Console


class Guarded(io.TextIOBase):
    """A stream that writes harmless text to another one, ``raw``."""

    def __init__(self, raw: TextIO) -> None:
        self.raw = raw

    def write(self, text: str) -> int:
        self.raw.write(spelt(text))
        return len(text)

    def close(self) -> None:
        """Leave the other stream as it is: it may be closed before this one is given up."""

    def flush(self) -> None:
        self.raw.flush()

    def fileno(self) -> int:
        return self.raw.fileno()

    def isatty(self) -> bool:
        return self.raw.isatty()

    def writable(self) -> bool:
        return True

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """The encoding of the other stream."""
        return self.raw.encoding

    def __getattr__(self, name: str) -> Any:
        return getattr(self.raw, name)


@contextmanager
def guarded() -> Iterator[None]:
    """Guard standard output and error while active."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (Guarded(_raw(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def _raw(stream: TextIO) -> TextIO:
    return stream.raw if isinstance(stream, Guarded) else stream


def rich_console(**settings: Any) -> Console:
    """A rich console past the guard: for our own words, and texts made harmless before."""
    from rich.console import Console  # importing it takes longer than a short command

    stream = sys.stderr if settings.pop("stderr", False) else sys.stdout
    return Console(file=_raw(stream), **settings)
