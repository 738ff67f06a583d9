"""What the journal's tests share: an invented survey, small disks, strategies for values."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import strategies as st

from callout.core.events import Event, Heard, Opened, TimedOut
from callout.core.meaning import Meaning
from callout.core.model import PastMeasurement, PlotSettings, Reading, Tree
from callout.core.rounding import Rounding
from callout.core.saying import as_is
from callout.core.statuses import Status
from callout.core.units import Scale, Unit
from callout.journal.folder import SurveyFolder, make_survey

AT = "2026-06-02T09:15:00.000+02:00"


def trees() -> tuple[Tree, ...]:
    """Invented: three trees in two plots of Harrow Fen."""
    past = (PastMeasurement(date(2021, 7, 8), Decimal("25.0"), Unit.INCH),)
    return (
        Tree("K1", "83", "red oak", past, {"crown": "sound"}),
        Tree("K1", "91", "beech"),
        Tree("K2", "101", "white pine"),
    )


def names(folder: Path) -> list[str]:
    """The names of all that lies in a folder, hidden files too."""
    return sorted(path.name for path in folder.iterdir())


def survey(path: Path) -> SurveyFolder:
    """A new survey folder; plot K1 in inches."""
    inches = PlotSettings(plot="K1", unit=Unit.INCH)
    return make_survey(path, trees(), PlotSettings(plot=""), {"K1": inches}, AT)


@contextmanager
def mounted(where: Path, options: str) -> Iterator[Path]:
    """A disk of its own at ``where``; skips, saying so, where that is not allowed."""
    where.mkdir(exist_ok=True)
    command = ["mount", "-t", "tmpfs", "-o", options, "callout-test", str(where)]
    if os.geteuid() != 0 or subprocess.run(command, capture_output=True).returncode != 0:
        pytest.skip("no small disk: mounting one needs root and leave to mount")
    try:
        yield where
    finally:
        subprocess.run(["umount", "-l", str(where)], check=True)


def remount_read_only(where: Path) -> None:
    """From now on nothing on that disk can be written."""
    subprocess.run(["mount", "-o", "remount,ro", str(where)], check=True)


def fill(where: Path) -> Path:
    """Take all the space that is left on that disk; returns the file that takes it."""
    path = where / "filler"
    with path.open("wb", buffering=0) as file:
        try:
            for size in (65536, 4096, 512):
                while True:
                    if file.write(b"x" * size) < size:
                        break
        except OSError:
            pass
    return path


# ---- strategies: any value that the types allow, exponents and trailing zeros too ----

words = st.text(st.characters(codec="utf-8"), max_size=20)
decimals = st.decimals(allow_nan=False, allow_infinity=False, min_value=0, places=None).filter(
    lambda value: abs(value.adjusted()) < 20
)
maybe_decimals = st.none() | decimals
units = st.sampled_from(Unit)
moments = st.datetimes(timezones=st.timezones()).map(
    lambda at: at.isoformat(timespec="milliseconds")
)
hashes = st.none() | st.text("0123456789abcdef", min_size=64, max_size=64)
numbers = st.integers(1, 2**40)

meanings = st.builds(
    Meaning,
    kind=st.sampled_from(("reading", "size", "status", "new", "confirm", "undo", "retag")),
    tag=st.none() | words,
    value=maybe_decimals,
    unit=st.none() | units,
    implied=st.booleans(),
    status=st.none() | st.sampled_from(tuple(map(str, Status))),
    stem=st.none() | words,
    species=st.none() | words,
    height_m=maybe_decimals,
    new_tag=st.none() | words,
)
events: st.SearchStrategy[Event] = st.one_of(
    st.builds(Opened, entry=numbers, at=moments, plot=words, who=words),
    st.builds(TimedOut, entry=numbers, at=moments),
    st.builds(
        Heard,
        entry=numbers,
        at=moments,
        source=st.sampled_from(("voice", "typed", "key", "tape")),
        words=words,
        meanings=st.lists(meanings, max_size=3).map(tuple),
        problem=st.none() | st.builds(as_is, words),
        engine=words,
        confidence=maybe_decimals,
        audio=hashes,
    ),
)
readings = st.builds(
    Reading,
    entry=numbers,
    at=moments,
    plot=words,
    tag=words,
    species=words,
    raw=maybe_decimals,
    raw_unit=st.none() | units,
    value=maybe_decimals,
    unit=units,
    status=st.sampled_from(tuple(map(str, Status))),
    stem=words,
    words=words,
    source=words,
    engine=words,
    confidence=maybe_decimals,
    audio=hashes,
    who=words,
    warnings=st.lists(words, max_size=3).map(tuple),
    height_m=maybe_decimals,
    is_new=st.booleans(),
    supersedes=st.none() | numbers,
    void=st.booleans(),
)
rosters = st.lists(
    st.builds(
        Tree,
        plot=words,
        tag=words,
        species=words,
        past=st.lists(
            st.builds(PastMeasurement, on=st.dates(), value=decimals, unit=units), max_size=3
        ).map(tuple),
        extra=st.dictionaries(words, words, max_size=3),
    ),
    max_size=4,
).map(tuple)


# What a plot is, besides how it is measured; of a plot only, since plots take what the survey has.
FACTS = st.fixed_dictionaries({
    "area_ha": st.none() | st.decimals("0.001", "9", places=3),
    "treatment": st.sampled_from(["", "control", "thinned 2019"]),
    "site": st.sampled_from(["", "Harrow Fen"]),
    "shape": st.sampled_from(["", "circle", "strip"]),
    "established": st.sampled_from(["", "1968", "1968-05-12"]),
    "paint_line": st.none() | st.booleans(),
})  # fmt: skip


@st.composite
def plot_settings(draw: st.DrawFn, plot: str = "") -> PlotSettings:
    """Settings that ``survey.toml`` allows."""
    sizes = st.decimals("0.001", "400", allow_nan=False, allow_infinity=False, places=3)
    unit = draw(units)
    # No tree is wider than 19 m; that is 62 ft.
    most = {Unit.METRE: "9", Unit.FOOT: "31"}.get(unit, "400")
    ends = st.decimals("0.001", most, allow_nan=False, allow_infinity=False, places=3)
    smallest = draw(ends)
    largest = draw(ends) + smallest
    return PlotSettings(
        plot=plot,
        unit=unit,
        graduation=draw(sizes),
        rounding=draw(st.sampled_from(Rounding)),
        scale=draw(st.sampled_from(Scale)),
        breast_height_m=draw(st.decimals("0.1", "3", places=2)),
        smallest=smallest,
        largest=largest,
        implied_point=draw(st.booleans()),
        **(draw(FACTS) if plot else {}),
    )
