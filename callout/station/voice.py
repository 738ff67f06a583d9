"""The spoken echo: says the session's words, and keeps the microphone from taking them in.

Speaking happens on a thread of its own, so that hearing never waits for it. Voice or speaker
failing is told once, and work goes on by screen.
"""

from __future__ import annotations

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

    def close(self) -> None:
        """Stop speaking."""


class SilentEcho:
    """Says nothing: for muted stations, and files read faster than speech."""

    def tell(self, done: Done) -> None:
        """Nothing to say aloud."""

    def now(self, stream_s: float) -> None:
        """No gate to move."""

    def close(self) -> None:
        """Nothing to stop."""


def make_echo(speaking: Speaking, endpointer: Endpointer, silent: bool, live: bool) -> Echo:
    """The spoken echo, or a silent one. ``live``: a microphone could hear it."""
    return SilentEcho()
