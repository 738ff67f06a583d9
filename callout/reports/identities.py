"""Names that last: of each measurement and of each tree, for tables that leave this machine.

A reading is called by its recorder and the journal entry that it began with, so that a correction
changes nothing. What came with a roster or a table has no entry of its own: it is called by what it
says and by the journal or file that it came with, so that equal rows of two sites stay apart.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence

import pandas as pd

from callout.core.errors import OperatorError

LETTERS = 20  # of a SHA-256: 80 bits; two of a million are alike with a chance of 4e-13


def lasting(origin: str, *parts: object) -> str:
    """A name made of what is named and where it came from."""
    text = "\x1f".join(("callout", origin, *(str(part) for part in parts)))
    return hashlib.sha256(text.encode()).hexdigest()[:LETTERS]


def row_names(origin: str, rows: Iterable[Sequence[object]]) -> list[str]:
    """One name a row of cells; rows that are quite alike get different ones."""
    seen: Counter[tuple[object, ...]] = Counter()
    names = []
    for row in rows:
        key = tuple(row)
        names.append(lasting(origin, *key, *([seen[key]] if seen[key] else [])))
        seen[key] += 1
    return names


ROW = ("plot", "tag", "stem", "date", "value", "unit", "status")


def identified(measurements: pd.DataFrame, origin: str) -> pd.DataFrame:
    """The frame with ``measurement_id`` and ``tree_id`` in every row; those there are kept.

    A tree keeps the name that any row of it has, so that it is one tree over all visits.
    """
    blank = pd.Series("", index=measurements.index, dtype=object)
    ids = measurements.get("measurement_id", blank).astype(object).fillna("")
    empty = (ids == "").to_numpy(dtype=bool)
    if empty.any():
        rows = measurements.loc[empty, list(ROW)].astype(object)
        ids = ids.copy()
        ids[empty] = row_names(origin, rows.itertuples(index=False, name=None))
    twice = ids[ids.duplicated()]
    if len(twice):
        raise OperatorError(f"measurement_id {twice.iloc[0]!r} is there twice: keep one row each")
    return measurements.assign(measurement_id=ids, tree_id=_trees(measurements, origin, blank))


def _trees(measurements: pd.DataFrame, origin: str, blank: pd.Series) -> pd.Series:
    told = measurements.get("tree_id", blank).astype(object).fillna("")
    keys = pd.MultiIndex.from_arrays(
        [measurements["plot"].astype(object), measurements["tag"].astype(object)]
    )
    codes, trees = keys.factorize()
    known: dict[int, str] = {}
    named = (told != "").to_numpy(dtype=bool)
    for code, name in zip(codes[named], told[named], strict=True):
        known.setdefault(code, name)
    names = [known.get(code) or lasting(origin, *key) for code, key in enumerate(trees)]
    made = pd.Series(names, dtype=object).to_numpy(dtype=object)[codes]
    return told.where(named, pd.Series(made, index=measurements.index, dtype=object))
