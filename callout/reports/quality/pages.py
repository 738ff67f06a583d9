"""The page of a quality check: figures of agreement, their meaning, and every pair.

Words and layout only; one file that needs no network.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from callout.core.errors import OperatorError
from callout.reports.exchange.cells import frame_csv
from callout.reports.pages.html import bullets, grid, heading, page, paragraph, picture
from callout.reports.quality.agreement import Tolerance
from callout.reports.quality.figures import agreement_figure, by_group_figure
from callout.reports.quality.pairs import Paired, by_unit
from callout.reports.quality.tables import agreement_frame, objective_told, pair_frame
from callout.survey.files import storage_errors

_FIGURES: dict[str, tuple[str, int | None]] = {
    "group": ("group", None),
    "n": ("pairs", 0),
    "bias": ("bias", 3),
    "bias_low": ("95 % from", 3),
    "bias_high": ("to", 3),
    "sd": ("SD of differences", 3),
    "tem": ("technical error", 3),
    "tem_percent": ("of size, %", 2),
    "limit_low": ("limits from", 2),
    "limit_high": ("to", 2),
    "within_percent": ("within tolerance, %", 1),
    "within_low": ("95 % from", 0),
    "within_high": ("to", 0),
}
_PAIRS: dict[str, tuple[str, int | None]] = {
    "plot": ("plot", None),
    "tag": ("tag", None),
    "stem": ("stem", None),
    "species": ("species", None),
    "first": ("first", None),
    "first_who": ("by", None),
    "second": ("second", None),
    "second_who": ("by", None),
    "difference": ("difference", None),
    "told": ("tolerance", None),
}
_BY = {"all": "All pairs", "size": "By size", "measurers": "By measurers", "plot": "By plot"}
_WRITTEN = {"in": "inches", "cm": "centimetres", "mm": "millimetres"}
METHOD = (
    "Trees were drawn at random and walked again, blind. Differences are second minus first; bias "
    "is their mean. The technical error of measurement, the root of the sum of squared differences "
    "over twice the pairs, is the standard deviation of one measurement. 95 % of differences are "
    "expected within the limits of agreement, bias plus and minus 1.96 standard deviations (Bland "
    "and Altman, Lancet 1986). A bias between two measurers does not say which of them is right."
)


@dataclass(frozen=True)
class Quality:
    """What a quality check found, ready to show."""

    title: str
    paired: Paired
    tolerance: Tolerance
    figures: pd.DataFrame
    pairs: pd.DataFrame

    @property
    def findings(self) -> list[str]:
        """The figures of all pairs in words, one line per unit; then the stems without a pair."""
        told = []
        for row in self.figures[self.figures["by"] == "all"].to_dict("records"):
            unit = row["unit"]
            told.append(
                f"{row['n']} pairs ({unit}): bias {row['bias']:+.3f} {unit}, technical error "
                f"{row['tem']:.3f} {unit} ({row['tem_percent']:.2f} %), limits of agreement "
                f"{row['limit_low']:+.2f} to {row['limit_high']:+.2f} {unit}; "
                f"{objective_told(row, self.tolerance)}."
            )
        return told + _cautions(self.paired)


def quality_of(title: str, found: Paired, tolerance: Tolerance, width: str | None) -> Quality:
    """All tables of a quality check. Raises OperatorError if there is no pair."""
    from callout.core.units import parse_decimal

    if not found.pairs:
        raise OperatorError(
            f"no tree has been measured again yet: {found.drawn} are drawn, walk them first"
        )
    wide = parse_decimal(width) if width else None
    figures = agreement_frame(found.pairs, tolerance, wide)
    return Quality(title, found, tolerance, figures, pair_frame(found.pairs, tolerance))


def _cautions(found: Paired) -> list[str]:
    told = []
    if found.left:
        told.append(f"{len(found.left)} drawn trees are not walked yet: {', '.join(found.left)}.")
    if found.unlike:
        told.append("Not compared: " + "; ".join(found.unlike) + ".")
    if found.corrected:
        told.append(
            f"{found.corrected} readings of the second walk were corrected by it after saving: "
            "what stands is compared."
        )
    same = sum(pair.first.who == pair.second.who for pair in found.pairs)
    if same:
        told.append(
            f"{same} pairs are of one person twice: they say how well a person repeats, not how "
            "well two agree."
        )
    return told


def write_quality(quality: Quality, folder: Path) -> Path:
    """Write the page, its figures and tables into ``folder``; returns the page's path."""
    pictures = {}
    for unit, pairs in by_unit(quality.paired.pairs).items():
        pictures[f"agreement-{unit}.png"] = agreement_figure(pairs, quality.tolerance)
        pictures[f"groups-{unit}.png"] = by_group_figure(_of(quality.figures, unit), unit)
    words = _page(quality, pictures)
    tables = {"pairs.csv": quality.pairs, "agreement.csv": quality.figures}
    with storage_errors(f"cannot write the quality check into {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in pictures.items():
            (folder / name).write_bytes(data)
        for name, frame in tables.items():
            (folder / name).write_text(frame_csv(frame), encoding="utf-8", newline="")
        (folder / "index.html").write_text(words, encoding="utf-8")
    return folder / "index.html"


def _of(frame: pd.DataFrame, unit: str) -> pd.DataFrame:
    return frame[frame["unit"] == unit]


def _page(quality: Quality, pictures: dict[str, bytes]) -> str:
    found = quality.paired
    parts = [
        heading(quality.title, 1),
        paragraph(
            f"{found.drawn} trees drawn (share {found.share} of every plot, number {found.number})."
            f" Objective: {quality.tolerance.told()}."
        ),
        bullets(quality.findings),
        paragraph(METHOD),
    ]
    for unit in by_unit(found.pairs):
        own = _of(quality.figures, unit)
        parts.append(heading(f"Plots kept in {_WRITTEN.get(unit, unit)}"))
        for what, title in _BY.items():
            parts.append(grid(own[own["by"] == what], _FIGURES, f"{title}, {unit}"))
        words = (
            f"Difference of each pair against its mean size, {unit}: bias (full line), limits of "
            "agreement (dashed), tolerance (dotted)."
        )
        parts.append(picture(pictures[f"agreement-{unit}.png"], words))
        words = f"Bias and limits of agreement by size class, measurers and plot, {unit}."
        parts.append(picture(pictures[f"groups-{unit}.png"], words))
        rows = _of(quality.pairs, unit)
        rows = rows.assign(told=rows["within"].map({True: "within", False: "OUTSIDE"}))
        parts.append(grid(rows, _PAIRS, f"Every pair, {unit}"))
    return page(quality.title, parts)
