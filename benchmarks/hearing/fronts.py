"""Treatments of a whole utterance before the engine, by name, to be compared."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from callout.speech.engine import Samples

FRONTS: Mapping[str, Callable[[Samples], Samples] | None] = {"as it is": None}
