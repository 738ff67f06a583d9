"""What says aloud what a station did, as its users see it; and the one that says nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from callout.core.saying import Saying
from callout.station.done import Done
from callout.survey.config import Speaking

TellFault = Callable[[Saying | None], None]
TellSounding = Callable[[bool], None]
TellSpoken = Callable[[Done | None], None]


class StreamClock(Protocol):
    """Where a microphone's stream stands, in seconds: now, and as far as was captured."""

    @property
    def now_s(self) -> float: ...
    @property
    def captured_s(self) -> float: ...


class Echo(Protocol):
    """Something that says what a station did."""

    def tell(self, done: Done) -> None:
        """Say the effects of one event; returns at once."""

    def mute(self, muted: bool) -> None:
        """Be silent, or speak again."""

    def cut(self) -> None:
        """Break off what is being said: somebody objects."""

    def speak_by(self, speaking: Speaking) -> None:
        """From the next echo on say as much, and as fast, as ``speaking`` tells."""

    def heard_by(self, microphone: StreamClock) -> None:
        """This microphone could hear it."""

    def on_fault(self, tell: TellFault) -> None:
        """Whom to tell when the voice fails (what is wrong) or works again (None)."""

    def on_sounding(self, tell: TellSounding) -> None:
        """Whom to tell when the loudspeaker begins (True) and ends (False)."""

    def on_spoken(self, tell: TellSpoken) -> None:
        """Whom to tell what has been spoken, but for the bare question."""

    def close(self) -> None:
        """Stop speaking."""


class SilentEcho:
    """Says nothing: for files read faster than speech."""

    def tell(self, done: Done) -> None:
        """Nothing to say aloud."""

    def mute(self, muted: bool) -> None:
        """Silent as it is."""

    def cut(self) -> None:
        """Nothing is being said."""

    def speak_by(self, speaking: Speaking) -> None:
        """Nothing is said."""

    def heard_by(self, microphone: StreamClock) -> None:
        """Nothing to hear."""

    def on_fault(self, tell: TellFault) -> None:
        """Nothing can fail."""

    def on_sounding(self, tell: TellSounding) -> None:
        """Nothing sounds."""

    def on_spoken(self, tell: TellSpoken) -> None:
        """Nothing is spoken."""

    def close(self) -> None:
        """Nothing to stop."""
