"""Standard output and error, guarded: what a stranger's survey says is shown, and never obeyed.

Escape sequences, other controls and direction marks come out as ``\\uXXXX``, which JSON reads as
what they were. Only rich's own progress and tables write past the guard, through ``rich_console``.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from rich.console import Console

# C0 but the line feed, DEL and C1; soft hyphen; format characters, marks of direction among them;
# separators of lines and paragraphs; tags.
_OBEYED = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\xad\u0600-\u0605\u061c\u06dd\u070f\u180e\u200b-\u200f"
    "\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\U000e0000-\U000e007f]"
)


def harmless(text: str) -> str:
    """``text`` with every character that a terminal would obey spelt out."""
    return _OBEYED.sub(_spelt, text)


def _spelt(found: re.Match[str]) -> str:
    units = found[0].encode("utf-16-be")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))


class Guarded(io.TextIOBase):
    """A stream that writes harmless text to another; ``raw`` is that other one."""

    def __init__(self, raw: TextIO) -> None:
        self.raw = raw

    def write(self, text: str) -> int:
        self.raw.write(harmless(text))
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
