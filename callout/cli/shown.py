"""Standard output and error, guarded: what a stranger's survey says is shown, and never obeyed.

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
    """A stream that writes harmless text to another; ``raw`` is that other one."""

    def __init__(self, raw: TextIO) -> None:
        self.raw = raw

    def write(self, text: str) -> int:
        self.raw.write(spelt(text))
        return len(text)

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
        """The other stream's."""
        return self.raw.encoding

    def __getattr__(self, name: str) -> Any:
        return getattr(self.raw, name)


@contextmanager
def guarded() -> Iterator[None]:
    """Standard output and error are guarded within."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (Guarded(_raw(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def _raw(stream: TextIO) -> TextIO:
    return stream.raw if isinstance(stream, Guarded) else stream


def rich_console(**settings: Any) -> Console:
    """A rich console past the guard: for words of our own, and texts made harmless before."""
    from rich.console import Console  # costs more than a short command

    stream = sys.stderr if settings.pop("stderr", False) else sys.stdout
    return Console(file=_raw(stream), **settings)
