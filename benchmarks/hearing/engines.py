"""The engines that are compared, each one line, all through their public protocol.

An engine is made for a fold of people left out (the closed engine's head then never heard them) or
for nobody. No sound here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from benchmarks.hearing.natural import FOLDS, fold_of
from callout.core.errors import OperatorError
from callout.speech.engine import Engine
from callout.station.data import load_language

Make = Callable[[Path, str], Engine]


def sphinx() -> Engine:
    """PocketSphinx as it is shipped: it has learnt from none of these people or voices."""
    from callout.speech.sphinx import SphinxEngine

    return SphinxEngine(load_language("en").pronunciations)


def closed(heads: Path, left_out: str, second: bool = True) -> Engine:
    """The closed engine with the head that never heard ``left_out``; ``second`` as in the engine.

    ``left_out`` is a fold, one of the three people of single digits, or nobody ("": the shipped
    head). The third listener that never heard them is ``doubter-FOLD.npz``, or the shipped one for
    the three; where there is none, none doubts. Raises OperatorError if there is no head.
    """
    from callout.speech.closed.closed_engine import DOUBTER, ClosedEngine

    if not left_out:
        return ClosedEngine(second=second)
    fold = left_out if left_out.isdecimal() else str(fold_of(left_out))
    head, doubter = heads / f"head-{fold}.npz", heads / f"doubter-{fold}.npz"
    if not head.is_file():
        raise OperatorError(
            f"{head} is missing: the shipped head has learnt from these people, so it cannot be "
            "judged by them; make the heads of folds by python -m training.make"
        )
    if not left_out.isdecimal():
        doubter = DOUBTER
    return ClosedEngine(head=head, second=second, doubter=doubter if doubter.is_file() else None)


ENGINES: Mapping[str, Make] = {
    "pocketsphinx": lambda heads, left_out: sphinx(),
    "closed": closed,
    "closed, head alone": lambda heads, left_out: closed(heads, left_out, second=False),
}


def for_folds(name: str, heads: Path) -> dict[int, Engine]:
    """For each fold of people an engine that learnt from none of them."""
    return {fold: ENGINES[name](heads, str(fold)) for fold in range(FOLDS)}
