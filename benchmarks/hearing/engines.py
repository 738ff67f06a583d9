"""The engines that are compared, each one line, all through their public protocol.

An engine is made for a person left out (the closed engine's head then never heard that person) or
for nobody. No sound here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from callout.speech.engine import Engine
from callout.station.data import load_language

Make = Callable[[Path, str], Engine]


def sphinx() -> Engine:
    """PocketSphinx as it is shipped: it has learnt from none of these people or voices."""
    from callout.speech.sphinx import SphinxEngine

    return SphinxEngine(load_language("en").pronunciations)


def closed(heads: Path, left_out: str) -> Engine:
    """The closed engine with the head that never heard ``left_out``."""
    from callout.speech.closed.engine import ClosedEngine

    return ClosedEngine(head=head_of(heads, left_out))


def head_of(heads: Path, left_out: str) -> Path:
    """The head's file; the shipped one where ``heads`` holds no whole head."""
    from callout.speech.closed.engine import HEAD

    if left_out:
        return heads / f"head-{left_out}.npz"
    whole = heads / "head.npz"
    return whole if whole.is_file() else HEAD


ENGINES: Mapping[str, Make] = {
    "pocketsphinx": lambda heads, left_out: sphinx(),
    "closed": closed,
}
