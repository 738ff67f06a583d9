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

    The shipped head where ``heads`` holds none for nobody or for a fold: it learnt from none of
    their people. The third listener that never heard them is
    ``doubter-LEFT_OUT.npz``; where there is none and somebody is left out, there is no third.
    """
    from callout.speech.closed.closed_engine import DOUBTER, HEAD, ClosedEngine

    head = heads / (f"head-{left_out}.npz" if left_out else "head.npz")
    doubter = heads / f"doubter-{left_out}.npz"
    shipped = (not left_out or left_out.isdecimal()) and not head.is_file()
    return ClosedEngine(
        head=HEAD if shipped else head,
        second=second,
        doubter=doubter if doubter.is_file() else None if left_out else DOUBTER,
    )


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

    Where ``heads`` holds ``head-0.npz`` or ``doubter-0.npz`` and so on, each fold has its own;
    else all have what is shipped.
    """
    if any((heads / f"{part}-0.npz").is_file() for part in ("head", "doubter")):
        return {fold: ENGINES[name](heads, str(fold)) for fold in range(FOLDS)}
    return dict.fromkeys(range(FOLDS), ENGINES[name](heads, ""))
