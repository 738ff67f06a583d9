"""What a page was made from and with: program, settings, and a fingerprint of the data.

With it anybody can tell whether two pages come from the same data, and make one again.
"""

from __future__ import annotations

import hashlib
from dataclasses import fields, is_dataclass
from typing import Any

import pandas as pd

import callout
from callout.reports.exchange.cells import WRITTEN, texts
from callout.reports.pages.analysis import Analysis, ReportSettings
from callout.reports.stand.columns import PLOT_COLUMNS
from callout.reports.stand.mass.equation_set import EquationSet

_PART = "\x1f"
_ELSEWHERE = ("title", "made", "notes")  # words of the page, not settings of its figures


def fingerprint(measurements: pd.DataFrame, plots: pd.DataFrame) -> str:
    """SHA-256 of both tables' texts, columns in our order, rows in theirs.

    The same for a survey and for every form that was exported from it.
    """
    digest = hashlib.sha256()
    for frame, columns in ((measurements, WRITTEN), (plots, PLOT_COLUMNS)):
        for name in columns:
            digest.update(f"{name}{_PART}".encode())
            digest.update(_PART.join(texts(frame[name])).encode())
    return digest.hexdigest()


def settings_told(given: ReportSettings) -> dict[str, Any]:
    """Every setting that affects figures, as plain values."""
    return {
        item.name: _plain(getattr(given, item.name))
        for item in fields(given)
        if item.name not in _ELSEWHERE
    }


def _plain(value: Any) -> Any:
    if isinstance(value, EquationSet):
        return value.name
    if isinstance(value, pd.DataFrame):
        return [str(name) for name in value.columns]
    if is_dataclass(value):
        return {item.name: _plain(getattr(value, item.name)) for item in fields(value)}
    return value if isinstance(value, (int, float, str, type(None))) else str(value)


def colophon(analysis: Analysis, data: str) -> str:
    """The foot of every page, in words; ``data`` is the fingerprint."""
    settings = "; ".join(
        f"{name} {value}" for name, value in _flat(settings_told(analysis.settings)).items()
    )
    return (
        f"Made by Callout {callout.__version__} from data with the fingerprint sha256:{data}. "
        f"Settings: {settings}."
    )


def _flat(told: dict[str, Any], before: str = "") -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, value in told.items():
        if isinstance(value, dict):
            flat.update(_flat(value, f"{before}{name} "))
        elif value not in ("", None):
            flat[f"{before}{name}".replace("_", " ")] = value
    return flat
