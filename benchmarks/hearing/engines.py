"""The engines that are compared, each one line, all through their public protocol.

An engine is made for a person left out (the closed engine's head then never heard that person) or
for nobody. No sound here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from benchmarks.hearing.natural import FOLDS
from callout.speech.engine import Engine
from callout.station.data import load_language

Make = Callable[[Path, str], Engine]


def sphinx() -> Engine:
    """PocketSphinx as it is shipped: it has learnt from none of these people or voices."""
    from callout.speech.sphinx import SphinxEngine

    return SphinxEngine(load_language("en").pronunciations)


def closed(heads: Path, left_out: str, second: bool = True) -> Engine:
    """The closed engine with the head that never heard ``left_out``; ``second`` as in the engine.

    The shipped head where ``heads`` holds no whole one.
    """
    from callout.speech.closed.closed_engine import HEAD, ClosedEngine

    head = heads / (f"head-{left_out}.npz" if left_out else "head.npz")
    return ClosedEngine(head=head if left_out or head.is_file() else HEAD, second=second)


def pair(first: Engine, second: Engine) -> Engine:
    """Two that must hear alike."""
    from callout.speech.pair import PairEngine

    return PairEngine(first, second)


ENGINES: Mapping[str, Make] = {
    "pocketsphinx": lambda heads, left_out: sphinx(),
    "closed": closed,
    "closed, head alone": lambda heads, left_out: closed(heads, left_out, second=False),
    "closed+pocketsphinx": lambda heads, left_out: pair(closed(heads, left_out), sphinx()),
}


def for_folds(name: str, heads: Path) -> dict[int, Engine]:
    """For each fold of people an engine that learnt from none of them.

    Where ``heads`` holds ``head-0.npz`` and so on, each fold has its own; else all have the one
    that learnt from nobody of the folds.
    """
    if (heads / "head-0.npz").is_file():
        return {fold: ENGINES[name](heads, str(fold)) for fold in range(FOLDS)}
    return dict.fromkeys(range(FOLDS), ENGINES[name](heads, ""))
