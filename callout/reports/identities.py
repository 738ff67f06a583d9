"""Lasting names of measurements and trees, for tables that leave this machine.

A reading is named by its recorder and its first journal entry, so that a correction keeps the name.
What came with a roster or a table has no entry of its own: it is named by its content and by the
journal or file it came with, so that equal rows of two sites stay apart.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence

import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.exchange.cells import texts

LETTERS = 20  # of a SHA-256: 80 bits; two of a million are alike with a chance of 4e-13


_PART = "\x1f"  # occurs in no cell


def lasting(origin: str, rows: Iterable[Sequence[str]]) -> list[str]:
    """One name per row of texts, made of its content and of ``origin``.

    Identical rows get different names, in their order.
    """
    begun = hashlib.sha256(f"callout{_PART}{origin}{_PART}".encode())
    seen: Counter[str] = Counter()
    names = []
    for row in rows:
        told = _PART.join(row)
        seen[told] += 1
        one = begun.copy()
        one.update((told if seen[told] == 1 else f"{told}{_PART}{seen[told]}").encode())
        names.append(one.hexdigest()[:LETTERS])
    return names


ROW = ("plot", "tag", "stem", "date", "value", "unit", "status")


def identified(measurements: pd.DataFrame, origin: str) -> pd.DataFrame:
    """The frame with ``measurement_id`` and ``tree_id`` in every row; existing ones are kept.

    A tree keeps the name that any of its rows has, so that it is one tree over all visits.
    """
    blank = pd.Series("", index=measurements.index, dtype=object)
    ids = measurements.get("measurement_id", blank).astype(object).fillna("")
    empty = (ids == "").to_numpy(dtype=bool)
    if empty.any():
        parts = [texts(measurements.loc[empty, name]) for name in ROW]
        made = ids.to_numpy(dtype=object, copy=True)
        made[empty] = lasting(origin, zip(*parts, strict=True))
        ids = pd.Series(made, index=measurements.index, dtype=object)
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
    new = lasting(origin, [("tree", str(plot), str(tag)) for plot, tag in trees])
    names = [known.get(code) or name for code, name in enumerate(new)]
    made = pd.Series(names, dtype=object).to_numpy(dtype=object)[codes]
    return told.where(named, pd.Series(made, index=measurements.index, dtype=object))
